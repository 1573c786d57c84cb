//! The two doors to the person: data through stdout, words through stderr. Neither can panic.

use std::io::{self, Write};

use crate::error::{Error, ErrorKind, Result};

/// Data, whole: a reader that has seen enough (`| head`) is no failure, a full disk is.
pub(super) fn data(text: &str) -> Result<()> {
    written(to(&mut io::stdout().lock(), text))
}

/// Words to the person. Where nobody listens, there is nobody to tell.
pub(super) fn words(text: &str) {
    let _ = to(&mut io::stderr().lock(), &format!("{text}\n"));
}

/// What writing to standard output came to.
pub(super) fn written(outcome: io::Result<()>) -> Result<()> {
    match outcome {
        Err(e) if e.kind() != io::ErrorKind::BrokenPipe => {
            Err(Error::new(ErrorKind::File, "could not write to standard output").because(e))
        }
        _ => Ok(()),
    }
}

fn to(door: &mut impl Write, text: &str) -> io::Result<()> {
    door.write_all(text.as_bytes())?;
    door.flush()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reader_that_left_is_no_failure_and_a_full_disk_is() {
        assert!(written(Err(io::ErrorKind::BrokenPipe.into())).is_ok());
        let full = written(Err(io::ErrorKind::StorageFull.into())).expect_err("full");
        assert!(full.to_string().starts_with("could not write to standard output: "), "{full}");
    }
}
