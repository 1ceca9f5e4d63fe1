//! The protocol of slitwright: the one definition of what models, requests and plans mean.
//!
//! `slitwright/v1/*.proto` beside this crate is that definition. From it come, at build time, the
//! messages with their protobuf encoding ([`v1`]), their canonical proto3 JSON (`serde` on the same
//! messages), the gRPC client and server, and the descriptors for reflection
//! ([`FILE_DESCRIPTOR_SET`]). Request files for the shell and `plan.json` are the JSON form.
//! With the feature `client` there is a client with patience (`client`).
//!
//! ```
//! use slitwright_proto::v1;
//! let request: v1::PlanRequest =
//!     serde_json::from_str(r#"{"mould": {"box": {"sideClearanceMm": 20}}}"#).unwrap();
//! let Some(v1::mould::Shape::Box(shape)) = request.mould.and_then(|mould| mould.shape) else {
//!     panic!("a box was asked for");
//! };
//! assert_eq!(shape.side_clearance_mm, Some(20.0));
//! ```

#[cfg(feature = "client")]
pub mod client;

/// Version 1 of the protocol.
#[allow(clippy::all, missing_docs)]
pub mod v1 {
    include!(concat!(env!("OUT_DIR"), "/slitwright.v1.rs"));
    include!(concat!(env!("OUT_DIR"), "/slitwright.v1.serde.rs"));
}

/// The descriptors of every file of the protocol and of what it imports, as an encoded
/// `google.protobuf.FileDescriptorSet`.
pub const FILE_DESCRIPTOR_SET: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/descriptors.bin"));
