//! Tokens as secrets: made, hashed, compared.
//!
//! A token is 32 random bytes, so one round of SHA-256 is hash enough. Slow hashes (argon2 and its
//! like) are for passwords, which people choose and others guess; nobody guesses one of 2^256, and
//! a slow hash at each call would be a gift to whoever sends many.

use std::fmt;

use rand::TryRngCore as _;
use rand::rngs::OsRng;
use sha2::{Digest, Sha256};
use subtle::{Choice, ConstantTimeEq};

/// What every token begins with, so that a search for leaked secrets finds it.
const PREFIX: &str = "slw_";

/// The hash of a token.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct TokenHash([u8; 32]);

impl TokenHash {
    /// The hash of what a caller sent.
    pub fn of(token: &str) -> Self {
        Self(Sha256::digest(token.as_bytes()).into())
    }

    /// Reads 64 hexadecimal digits.
    pub fn from_hex(text: &str) -> Option<Self> {
        let digits: &[u8; 64] = text.as_bytes().try_into().ok()?;
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(digits.chunks_exact(2)) {
            let value = |digit: u8| char::from(digit).to_digit(16);
            *byte = u8::try_from(value(pair[0])? * 16 + value(pair[1])?).ok()?;
        }
        Some(Self(bytes))
    }

    /// Whether both are the same, in a time that tells nothing of where they differ.
    pub fn same(&self, other: &Self) -> Choice {
        self.0.ct_eq(&other.0)
    }
}

impl fmt::Display for TokenHash {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(out, "{byte:02x}"))
    }
}

impl fmt::Debug for TokenHash {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("TokenHash(..)")
    }
}

/// A new token, to be shown once.
pub fn new_token() -> Result<String, rand::rand_core::OsError> {
    let mut bytes = [0; 32];
    OsRng.try_fill_bytes(&mut bytes)?;
    // The same digits that show a hash show a token.
    Ok(format!("{PREFIX}{}", TokenHash(bytes)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_hash_is_sha_256_in_hexadecimal() {
        // NIST, "Secure Hash Standard" examples: SHA-256 of "abc".
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(TokenHash::of("abc").to_string(), abc);
        assert_eq!(TokenHash::from_hex(abc), Some(TokenHash::of("abc")));
        assert_eq!(TokenHash::from_hex(&abc[1..]), None);
        assert_eq!(TokenHash::from_hex(&abc.replace('b', "g")), None);
    }

    #[test]
    fn tokens_differ_and_have_all_their_digits() {
        let (one, other) = (new_token().expect("random"), new_token().expect("random"));
        assert_ne!(one, other);
        assert_eq!(one.len(), PREFIX.len() + 64);
        assert!(!bool::from(TokenHash::of(&one).same(&TokenHash::of(&other))));
        assert!(bool::from(TokenHash::of(&one).same(&TokenHash::of(&one.clone()))));
    }
}
