//! The name of a nudge that never changes.

use super::Kind;
use sha2::{Digest as _, Sha256};
use std::fmt::Write as _;

/// The layout of what is hashed; raised when it changes.
const SCHEMA: u32 = 1;

/// SHA-256 over the schema's version, the instance, the kind and the sequence
/// number within the kind, in hexadecimal (reference/algorithms.md 13.3). No
/// text and no date that a forecast can shift is part of it.
pub fn key(instance: &str, kind: Kind, sequence: u32) -> String {
    let name = format!("{SCHEMA}\n{instance}\n{}\n{sequence}", kind.word());
    let mut hex = String::with_capacity(64);
    for byte in Sha256::digest(name.as_bytes()) {
        let _ = write!(hex, "{byte:02x}");
    }
    hex
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against `printf '1\nprune-pome-apple-2027\nopening\n0' | sha256sum` of
    /// GNU coreutils.
    #[test]
    fn a_key_is_the_sha_256_of_its_parts() {
        assert_eq!(
            key("prune-pome-apple-2027", Kind::Opening, 0),
            "4583220388d8a410c6c568adf2ba0d7cdcd4f016804126ca3ffca26ad00b5aa0"
        );
        assert_ne!(
            key("prune-pome-apple-2027", Kind::Opening, 1),
            key("prune-pome-apple-2027", Kind::Opening, 0)
        );
    }
}
