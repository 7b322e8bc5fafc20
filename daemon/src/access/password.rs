//! A password as it is kept: its argon2id hash as a PHC string (RFC 9106). Owns which hashes are strong enough, and which
//! passwords; the password itself is never kept or shown.

use argon2::password_hash::phc;
use argon2::password_hash::{CustomizedPasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use std::fmt;

/// What a new hash costs: 19 MiB, 2 passes, 1 lane, the first choice of OWASP's *Password Storage Cheat Sheet*. RFC 9106
/// itself would have 64 MiB, which a small board lacks.
const COST: (u32, u32, u32) = (19 * 1024, 2, 1);
/// The weakest that are taken: of OWASP's choices, which trade memory for passes, the smallest memory is 7 MiB and the
/// smallest product 7 MiB × 5.
const MEMORY_MIN_KIB: u32 = 7 * 1024;
const WORK_MIN_KIB: u64 = 5 * 7 * 1024;
/// The dearest that are taken: each sign-in takes so much memory, and a small board has 512 MiB.
const MEMORY_MAX_KIB: u32 = 256 * 1024;
const PASSES_MAX: u32 = 16;
const LANES_MAX: u32 = 8;

/// The shortest new password, characters: what NIST SP 800-63B-4 asks of one that stands alone.
pub const PASSWORD_MIN: usize = 15;
/// The longest that is looked at, bytes; more would be work for nothing.
pub const PASSWORD_MAX: usize = 1024;

/// Bytes of salt: 16, as the PHC string format recommends.
const SALT_BYTES: usize = 16;

/// Why there is no hash.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PasswordFault {
    /// The password is too short.
    #[error("the password has {0} characters; at least {PASSWORD_MIN} would be right, four or five words do")]
    Short(usize),
    /// The password is too long.
    #[error("the password has {0} bytes; at most {PASSWORD_MAX} would be right")]
    Long(usize),
    /// The text is no hash.
    #[error("found no argon2id hash")]
    NoHash,
    /// The hash is of another kind.
    #[error("found a hash that is not argon2id of version 19")]
    OtherKind,
    /// The hash is guessed too cheaply, or costs more than a sign-in may.
    #[error("found a hash of m={memory_kib},t={passes},p={lanes}, which is {}", if *.is_weak { "guessed too cheaply" } else { "too dear" })]
    Cost {
        /// KiB.
        memory_kib: u32,
        /// Passes.
        passes: u32,
        /// Lanes.
        lanes: u32,
        /// Whether it is too cheap.
        is_weak: bool,
    },
    /// It can't be made.
    #[error("no hash could be made: {0}")]
    Failed(String),
}

/// A password's hash.
#[derive(Clone, PartialEq, Eq)]
pub struct PasswordHash {
    parsed: phc::PasswordHash,
    text: String,
}

impl fmt::Debug for PasswordHash {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("••••")
    }
}

impl PasswordHash {
    /// Hashes a new password with a salt of its own.
    ///
    /// # Errors
    /// If it is too short or too long.
    pub fn of(password: &str) -> Result<Self, PasswordFault> {
        let letters = password.chars().count();
        if letters < PASSWORD_MIN {
            return Err(PasswordFault::Short(letters));
        }
        if password.len() > PASSWORD_MAX {
            return Err(PasswordFault::Long(password.len()));
        }
        let (memory, passes, lanes) = COST;
        let failed = |error: String| PasswordFault::Failed(error);
        let params = Params::new(memory, passes, lanes, None).map_err(|error| failed(error.to_string()))?;
        let salt: [u8; SALT_BYTES] = rand::random();
        let argon2 = Argon2::new(Algorithm::Argon2id, Version::V0x13, params.clone());
        let parsed = argon2.hash_password_customized(password.as_bytes(), &salt, None, None, params);
        let parsed = parsed.map_err(|error| failed(error.to_string()))?;
        Ok(Self { text: parsed.to_string(), parsed })
    }

    /// Reads a PHC string.
    ///
    /// # Errors
    /// If it is none of argon2id, or one that is too weak or too dear.
    pub fn parse(text: &str) -> Result<Self, PasswordFault> {
        let parsed = phc::PasswordHash::new(text).map_err(|_| PasswordFault::NoHash)?;
        if parsed.algorithm.as_str() != "argon2id" || parsed.version != Some(19) {
            return Err(PasswordFault::OtherKind);
        }
        if parsed.salt.is_none() || parsed.hash.is_none() {
            return Err(PasswordFault::NoHash);
        }
        let params = Params::try_from(&parsed).map_err(|_| PasswordFault::NoHash)?;
        let (memory_kib, passes, lanes) = (params.m_cost(), params.t_cost(), params.p_cost());
        let is_weak = memory_kib < MEMORY_MIN_KIB || u64::from(memory_kib) * u64::from(passes) < WORK_MIN_KIB;
        if is_weak || memory_kib > MEMORY_MAX_KIB || passes > PASSES_MAX || lanes > LANES_MAX {
            return Err(PasswordFault::Cost { memory_kib, passes, lanes, is_weak });
        }
        Ok(Self { text: text.to_owned(), parsed })
    }

    /// The PHC string.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// Whether it is this password's. Takes long, and the hash's memory.
    #[must_use]
    pub fn is_of(&self, password: &str) -> bool {
        password.len() <= PASSWORD_MAX && Argon2::default().verify_password(password.as_bytes(), &self.parsed).is_ok()
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "a test may stop")]
mod tests {
    use super::*;

    #[test]
    fn a_hash_is_of_its_own_password_alone_and_no_two_of_one_password_are_alike() {
        let hash = PasswordHash::of("quiet gulls over slate").unwrap();
        assert!(hash.as_str().starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{}", hash.as_str());
        let read = PasswordHash::parse(hash.as_str()).unwrap();
        assert!(read.is_of("quiet gulls over slate"));
        for other in ["quiet gulls over slate ", "Quiet gulls over slate", "", hash.as_str()] {
            assert!(!read.is_of(other), "{other}");
        }
        assert_ne!(PasswordHash::of("quiet gulls over slate").unwrap().as_str(), hash.as_str());
        assert_eq!(format!("{hash:?}"), "••••");
    }

    /// The independent implementation's own example of argon2id (the reference code's `test.c`, version 19).
    #[test]
    fn a_hash_that_another_program_made_is_read() {
        let text = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";
        let hash = PasswordHash::parse(text).unwrap();
        assert!(hash.is_of("password") && !hash.is_of("passwore"));
    }

    #[test]
    fn passwords_and_hashes_that_are_too_weak_are_refused_with_what_was_found() {
        assert_eq!(PasswordHash::of("fourteen chars"), Err(PasswordFault::Short(14)));
        assert_eq!(PasswordHash::of(&"x".repeat(1025)), Err(PasswordFault::Long(1025)));
        let tail = "$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";
        for (head, is_right) in [
            ("$argon2id$v=19$m=7168,t=5,p=1", true),
            ("$argon2id$v=19$m=47104,t=1,p=1", true),
            ("$argon2id$v=19$m=7168,t=4,p=1", false),
            ("$argon2id$v=19$m=4096,t=9,p=1", false),
            ("$argon2id$v=19$m=524288,t=2,p=1", false),
            ("$argon2id$v=19$m=19456,t=2000,p=1", false),
            ("$argon2i$v=19$m=19456,t=2,p=1", false),
            ("$argon2id$v=16$m=19456,t=2,p=1", false),
        ] {
            assert_eq!(PasswordHash::parse(&format!("{head}{tail}")).is_ok(), is_right, "{head}");
        }
        for text in ["", "quiet gulls over slate", "$argon2id$v=19$m=19456,t=2,p=1$c29tZXNhbHQ"] {
            assert_eq!(PasswordHash::parse(text), Err(PasswordFault::NoHash), "{text}");
        }
    }
}
