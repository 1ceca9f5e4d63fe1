//! Messages as they lie in the store: with a check sum, since the database has none of its own.
//!
//! A flipped bit in a plan would send the knife somewhere else; it must not pass for a plan.

use prost::Message;
use sha2::{Digest, Sha256};

use super::StoreError;

/// Bytes of the check sum: the first ones of the SHA-256.
const SUM: usize = 16;

/// Bytes with their sum in front.
pub fn seal_bytes(bytes: &[u8]) -> Vec<u8> {
    let mut sealed = Vec::with_capacity(SUM + bytes.len());
    sealed.extend_from_slice(&Sha256::digest(bytes)[..SUM]);
    sealed.extend_from_slice(bytes);
    sealed
}

/// A message with its sum in front.
pub fn seal(message: &impl Message) -> Vec<u8> {
    seal_bytes(&message.encode_to_vec())
}

/// The bytes, if they are as they were written. `what` they are.
pub fn open_bytes<'a>(what: &str, sealed: &'a [u8]) -> Result<&'a [u8], StoreError> {
    match sealed.split_at_checked(SUM) {
        Some((sum, bytes)) if Sha256::digest(bytes)[..SUM] == *sum => Ok(bytes),
        _ => Err(StoreError::Damaged(format!("{what} is not as it was written"))),
    }
}

/// The message, if it is as it was written. `what` it is.
pub fn open<M: Message + Default>(what: &str, sealed: &[u8]) -> Result<M, StoreError> {
    M::decode(open_bytes(what, sealed)?)
        .map_err(|error| StoreError::Damaged(format!("{what}: {error}")))
}

#[cfg(test)]
mod tests {
    use slitwright_proto::v1;

    use super::*;

    #[test]
    fn any_flipped_bit_and_any_missing_byte_is_noticed() {
        let message = v1::Failure { code: 13, message: "the gate".to_owned() };
        let sealed = seal(&message);
        assert_eq!(open::<v1::Failure>("a failure", &sealed), Ok(message));
        for bit in 0..8 * sealed.len() {
            let mut broken = sealed.clone();
            broken[bit / 8] ^= 1 << (bit % 8);
            assert!(open::<v1::Failure>("a failure", &broken).is_err(), "bit {bit}");
        }
        for length in 0..sealed.len() {
            assert!(open::<v1::Failure>("a failure", &sealed[..length]).is_err(), "{length}");
        }
    }
}
