//! A file's bytes and their hash; opened read-only, never changed.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use sha2::{Digest, Sha256};

use super::buffers;
use crate::error::{Error, ErrorKind, Result};

/// The bytes of a regular file.
pub(crate) fn bytes_of(path: &Path) -> Result<Vec<u8>> {
    let io = |e: std::io::Error| {
        let missing = e.kind() == std::io::ErrorKind::NotFound;
        let error = Error::io("read", path, e);
        if missing { error.hint("check the name and the folder") } else { error }
    };
    let mut file = File::open(path).map_err(io)?;
    let about = file.metadata().map_err(io)?;
    if !about.is_file() {
        let what = if about.is_dir() { "a folder" } else { "not a regular file" };
        return Err(Error::new(ErrorKind::File, format!("this is {what}; a trace file is wanted")).in_file(path));
    }
    let mut bytes = buffers::bytes(usize::try_from(about.len()).unwrap_or(0) + 1);
    file.read_to_end(&mut bytes).map_err(io)?;
    Ok(bytes)
}

/// SHA-256 (FIPS 180-4) in lower-case hexadecimal.
pub(crate) fn sha256_hex(bytes: &[u8]) -> String {
    const HEX: &[u8; 16] = b"0123456789abcdef";
    let mut text = String::with_capacity(64);
    for byte in Sha256::digest(bytes) {
        text.push(HEX[usize::from(byte >> 4)] as char);
        text.push(HEX[usize::from(byte & 15)] as char);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hash_of_abc_as_in_fips_180_4() {
        // FIPS 180-4's one-block example, message "abc".
        assert_eq!(sha256_hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    }

    #[test]
    fn folders_and_missing_files_are_named() {
        let folder = bytes_of(Path::new(".")).expect_err("a folder").to_string();
        assert!(folder.contains("folder"), "{folder}");
        let missing = bytes_of(Path::new("no/such.csv")).expect_err("missing").to_string();
        assert!(missing.starts_with("no/such.csv: could not read"), "{missing}");
    }
}
