//! Answers cut down to the fields that were asked for (Google's AIP-157, "Partial responses").
//!
//! Works on the encoded message, by the protocol's own descriptors, so that a new field of the
//! protocol needs nothing here.

use std::collections::{BTreeMap, HashMap};

use prost::bytes::{Buf, BufMut};
use prost::encoding::{
    DecodeContext, decode_key, decode_varint, encode_key, encode_varint, skip_field,
};
use prost::{DecodeError, Message};
use prost_types::FileDescriptorSet;
use prost_types::field_descriptor_proto::Type;
use slitwright_proto::FILE_DESCRIPTOR_SET;

use super::paging::QUOTED;
use crate::text::shortened;

/// Longest list of paths. Each is looked up in every answer.
const MOST_PATHS: usize = 100;

/// A field of a message: its number, and the message it holds, if it does.
struct Field {
    number: u32,
    message: Option<String>,
}

/// The fields of the protocol's messages, by message and by name.
pub struct Fields(HashMap<String, HashMap<String, Field>>);

/// The fields of an answer that were asked for. Under each either all, or a mask of its own.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Mask {
    under: BTreeMap<u32, Option<Mask>>,
    names: Vec<String>,
}

impl Fields {
    /// Reads the descriptors.
    pub fn new() -> Result<Self, DecodeError> {
        let mut messages = HashMap::new();
        for file in FileDescriptorSet::decode(FILE_DESCRIPTOR_SET)?.file {
            for message in &file.message_type {
                let fields = message.field.iter().map(|field| {
                    let message = (field.r#type() == Type::Message)
                        .then(|| field.type_name().trim_start_matches('.').to_owned());
                    let number = field.number().cast_unsigned();
                    (field.name().to_owned(), Field { number, message })
                });
                messages.insert(format!("{}.{}", file.package(), message.name()), fields.collect());
            }
        }
        Ok(Self(messages))
    }

    /// The mask of some paths in `message`; `None` where they ask for all. What is wrong with them,
    /// in words, otherwise.
    pub fn mask(&self, message: &str, paths: &[String]) -> Result<Option<Mask>, String> {
        if paths.len() > MOST_PATHS {
            return Err(format!("has {} paths: give at most {MOST_PATHS}", paths.len()));
        }
        if paths.is_empty() || paths.iter().any(|path| path == "*") {
            return Ok(None);
        }
        let mut mask = Mask::default();
        for path in paths {
            self.add(&mut mask, message, path)?;
        }
        Ok(Some(mask))
    }

    /// The mask of all fields of `message` but some.
    pub fn all_but(&self, message: &str, left_out: &[&str]) -> Mask {
        let mut mask = Mask::default();
        for (name, field) in self.0.get(message).into_iter().flatten() {
            if !left_out.contains(&name.as_str()) {
                mask.under.insert(field.number, None);
                mask.names.push(name.clone());
            }
        }
        mask
    }

    /// The names of a path without the stars that stand for all items or fields (Google's AIP-161): a path
    /// goes through lists to each of their items anyway, and one that ends at a field means all of it.
    fn without_stars<'p>(&self, message: &str, path: &'p str) -> Result<Vec<&'p str>, String> {
        let (mut names, mut message) = (Vec::new(), Some(message));
        for name in path.split('.') {
            if name == "*" && !names.is_empty() && message.is_some() {
                continue;
            }
            let field = message.and_then(|message| self.0.get(message)?.get(name));
            message = field.and_then(|field| field.message.as_deref());
            names.push(name);
            if field.is_none() {
                return Err(nowhere(path));
            }
        }
        Ok(names)
    }

    fn add(&self, mask: &mut Mask, message: &str, path: &str) -> Result<(), String> {
        let plain = self.without_stars(message, path)?;
        let (mut at, mut message) = (mask, Some(message));
        let mut names = plain.iter().copied().peekable();
        while let Some(name) = names.next() {
            let field = message
                .and_then(|message| self.0.get(message))
                .and_then(|fields| fields.get(name))
                .ok_or_else(|| nowhere(path))?;
            if !at.names(name) {
                at.names.push(name.to_owned());
            }
            if names.peek().is_none() {
                // All of it, whatever was asked of its parts.
                at.under.insert(field.number, None);
                return Ok(());
            }
            match at.under.entry(field.number).or_insert_with(|| Some(Mask::default())) {
                // All of it was asked for before; the rest of the path has to be right all the same.
                None => {
                    let mut unused = Mask::default();
                    let rest = names.collect::<Vec<_>>().join(".");
                    return self.add(
                        &mut unused,
                        field.message.as_deref().unwrap_or_default(),
                        &rest,
                    );
                }
                Some(under) => at = under,
            }
            message = field.message.as_deref();
        }
        Ok(())
    }
}

fn nowhere(path: &str) -> String {
    let path = shortened(path, QUOTED);
    format!("has the path {path:?}, which leads to no field: give paths like plan.cuts.length_mm")
}

impl Mask {
    /// Whether a field of the message itself, or anything in it, was asked for.
    pub fn names(&self, name: &str) -> bool {
        self.names.iter().any(|known| known == name)
    }

    /// The message with what was asked for, and nothing else.
    pub fn apply<M: Message + Default>(&self, message: &M) -> Result<M, DecodeError> {
        let mut kept = Vec::new();
        self.copy(&message.encode_to_vec(), &mut kept)?;
        M::decode(kept.as_slice())
    }

    fn copy(&self, mut from: &[u8], into: &mut Vec<u8>) -> Result<(), DecodeError> {
        while from.has_remaining() {
            let (number, wire) = decode_key(&mut from)?;
            let value = from;
            skip_field(wire, number, &mut from, DecodeContext::default())?;
            let mut value = &value[..value.len() - from.len()];
            let Some(asked) = self.under.get(&number) else { continue };
            encode_key(number, wire, into);
            if let Some(under) = asked {
                // Only messages have something under them: a length, then that many bytes.
                decode_varint(&mut value)?;
                let mut kept = Vec::new();
                under.copy(value, &mut kept)?;
                encode_varint(kept.len() as u64, into);
                into.put_slice(&kept);
            } else {
                into.put_slice(value);
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use slitwright_proto::v1;

    use super::*;

    fn mask(paths: &[&str]) -> Result<Option<Mask>, String> {
        let paths: Vec<_> = paths.iter().map(|&path| path.to_owned()).collect();
        Fields::new().expect("own descriptors").mask("slitwright.v1.PlanJob", &paths)
    }

    fn job() -> v1::PlanJob {
        let cut = |length_mm| v1::Cut {
            length_mm,
            reason: "opens a ring".to_owned(),
            sheets: vec![v1::Sheet::default()],
            ..Default::default()
        };
        v1::PlanJob {
            name: "plans/a".to_owned(),
            state: v1::JobState::Succeeded.into(),
            plan: Some(v1::Plan {
                cuts: vec![cut(3.5), cut(4.5)],
                gap: 0.25,
                ..Default::default()
            }),
            ..Default::default()
        }
    }

    #[test]
    fn what_was_asked_for_stays_and_nothing_else() {
        let through = |paths: &[&str]| {
            mask(paths).expect("good paths").expect("a mask").apply(&job()).expect("own message")
        };
        let cut = |length_mm| v1::Cut { length_mm, ..Default::default() };
        let lengths = vec![cut(3.5), cut(4.5)];
        assert_eq!(
            through(&["name", "plan.cuts.length_mm"]),
            v1::PlanJob {
                name: "plans/a".to_owned(),
                plan: Some(v1::Plan { cuts: lengths.clone(), ..Default::default() }),
                ..Default::default()
            }
        );
        // In whatever order a whole and its part are named.
        for paths in [["plan", "plan.gap"], ["plan.gap", "plan"]] {
            assert_eq!(through(&paths), v1::PlanJob { plan: job().plan, ..Default::default() });
        }
        assert_eq!(through(&["plan.cuts.*.length_mm"]), through(&["plan.cuts.length_mm"]));
        assert_eq!(through(&["plan.*"]), through(&["plan"]));
        assert_eq!(through(&["failure.message"]), v1::PlanJob::default());
        assert!(mask(&["plan.gap"]).expect("good").expect("a mask").names("plan"));
        assert!(!mask(&["state"]).expect("good").expect("a mask").names("plan"));
    }

    #[test]
    fn all_is_no_mask_and_paths_that_lead_nowhere_are_refused() {
        assert_eq!(mask(&[]), Ok(None));
        assert_eq!(mask(&["state", "*"]), Ok(None));
        for bad in [
            "",
            "colour",
            "plan.",
            "plan.cuts.colour",
            "state.x",
            "Plan",
            "plan..gap",
            "*.plan",
            "state.*",
        ] {
            let fault = mask(&[bad]).expect_err(bad);
            assert!(fault.contains(&format!("{bad:?}")), "{fault}");
        }
        mask(&["plan", "plan.colour"]).expect_err("wrong though all was asked for");
        mask(&["state"; 101]).expect_err("too many");
    }
}
