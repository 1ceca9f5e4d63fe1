//! The protocol as a script for the page: which fields a message has, which names an enum, which messages a
//! call. Made from the descriptors, so that the page and the protocol cannot drift apart.

use prost::Message as _;
use prost_types::field_descriptor_proto::{Label, Type};
use prost_types::{DescriptorProto, EnumDescriptorProto, FieldDescriptorProto, FileDescriptorSet};
use serde_json::{Map, Value, json};
use slitwright_proto::FILE_DESCRIPTOR_SET;

/// The package whose names are written without it.
const PACKAGE: &str = ".slitwright.v1.";

/// The script. A field is its number, its name in the JSON form, its kind, the message or enum that it holds,
/// and how it comes: `one`, `many`, or `maybe` where being absent means something.
pub(super) fn script() -> Result<String, prost::DecodeError> {
    let (mut messages, mut enums, mut calls) = (Map::new(), Map::new(), Map::new());
    for file in FileDescriptorSet::decode(FILE_DESCRIPTOR_SET)?.file {
        let package = format!(".{}.", file.package());
        for own in &file.message_type {
            add_message(&package, own, &mut messages, &mut enums);
        }
        for own in &file.enum_type {
            enums.insert(short(&format!("{package}{}", own.name())), names_of(own));
        }
        for service in &file.service {
            for method in &service.method {
                let path = format!("/{}.{}/{}", file.package(), service.name(), method.name());
                let call = json!([path, short(method.input_type()), short(method.output_type())]);
                calls.insert(method.name().to_owned(), call);
            }
        }
    }
    let [messages, enums, calls] = [messages, enums, calls].map(Value::Object);
    Ok(format!(
        "export const messages = {messages};\nexport const enums = {enums};\nexport const calls = {calls};\n"
    ))
}

fn add_message(
    package: &str,
    message: &DescriptorProto,
    messages: &mut Map<String, Value>,
    enums: &mut Map<String, Value>,
) {
    let name = format!("{package}{}", message.name());
    let within = format!("{name}.");
    for own in &message.nested_type {
        add_message(&within, own, messages, enums);
    }
    for own in &message.enum_type {
        enums.insert(short(&format!("{within}{}", own.name())), names_of(own));
    }
    let fields = message.field.iter().map(field).collect();
    messages.insert(short(&name), Value::Array(fields));
}

fn field(field: &FieldDescriptorProto) -> Value {
    let kind = match field.r#type() {
        Type::Double => "double",
        Type::Float => "float",
        Type::Int64 => "int64",
        Type::Uint64 => "uint64",
        Type::Int32 => "int32",
        Type::Uint32 => "uint32",
        Type::Bool => "bool",
        Type::String => "string",
        Type::Bytes => "bytes",
        Type::Message => "message",
        Type::Enum => "enum",
        // None of these in the protocol: the page would refuse the field by this name.
        Type::Fixed64 | Type::Fixed32 | Type::Sfixed32 | Type::Sfixed64 => "fixed",
        Type::Sint32 | Type::Sint64 => "zigzag",
        Type::Group => "group",
    };
    let comes = match field.label() {
        Label::Repeated => "many",
        _ if field.oneof_index.is_some() || kind == "message" => "maybe",
        _ => "one",
    };
    json!([field.number(), camel(field.name()), kind, short(field.type_name()), comes])
}

fn names_of(own: &EnumDescriptorProto) -> Value {
    let named = own.value.iter().map(|value| (value.number().to_string(), json!(value.name())));
    Value::Object(named.collect())
}

fn short(name: &str) -> String {
    name.strip_prefix(PACKAGE).or(name.strip_prefix('.')).unwrap_or(name).to_owned()
}

/// The name of a field in the JSON form (protobuf.dev, "JSON Mapping": lowerCamelCase).
fn camel(name: &str) -> String {
    let mut parts = name.split('_');
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |mut all, part| {
        let mut letters = part.chars();
        all.extend(letters.next().map(|first| first.to_ascii_uppercase()));
        all.extend(letters);
        all
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fields as they stand in the `.proto` files.
    #[test]
    fn fields_calls_and_enums_are_those_of_the_protocol() {
        let script = script().expect("the protocol's own descriptors");
        for part in [
            r#"[1,"sideClearanceMm","double","","maybe"]"#,
            r#"[5,"densityGCm3","double","","maybe"]"#,
            r#"[4,"state","enum","JobState","one"]"#,
            r#"[1,"cuts","message","Cut","many"]"#,
            r#"[5,"submitTime","message","google.protobuf.Timestamp","maybe"]"#,
            r#""4":"JOB_STATE_FAILED""#,
            r#""WatchPlan":["/slitwright.v1.CutPlanner/WatchPlan","WatchPlanRequest","PlanEvent"]"#,
        ] {
            assert!(script.contains(part), "{part}");
        }
        assert!(!script.contains("\"zigzag\"") && !script.contains("\"fixed\""));
        assert!(!script.contains("\"group\""));
    }
}
