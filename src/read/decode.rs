//! Bytes to text: byte-order marks, UTF-16, one-byte encodings; files that are no text are refused by what they are.

use std::borrow::Cow;

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};
use memchr::memchr;

use crate::error::{Error, ErrorKind, Result};

/// Text and how it was found.
#[derive(Debug)]
pub(crate) struct Decoded<'a> {
    pub(crate) text: Cow<'a, str>,
    /// Such as "UTF-8" or "windows-1252".
    pub(crate) encoding: String,
    /// What looks odd, in words.
    pub(crate) suspicions: Vec<String>,
}

/// The file's text. UTF-8 passes without a copy.
pub(crate) fn decode<'a>(bytes: &'a [u8], label: Option<&str>) -> Result<Decoded<'a>> {
    if bytes.is_empty() {
        return Err(Error::new(ErrorKind::Format, "the file is empty (0 bytes); rows of time and signal are wanted")
            .hint("export the trace again"));
    }
    if let Some(label) = label {
        let Some(encoding) = Encoding::for_label(label.trim().as_bytes()) else {
            return Err(Error::new(ErrorKind::Option, format!("the encoding \"{label}\" is not known"))
                .at_field("encoding")
                .hint("use a label such as \"utf-8\", \"utf-16le\" or \"windows-1252\""));
        };
        return with(encoding, bytes, "as the option says");
    }
    if let Some((encoding, _)) = Encoding::for_bom(bytes) {
        return with(encoding, bytes, "with byte-order mark");
    }
    refuse_known_binaries(bytes)?;
    if memchr(0, bytes).is_some() {
        return match zero_pattern(bytes) {
            Some(encoding) => with(encoding, bytes, "seen from its zero bytes"),
            None => Err(binary(bytes)),
        };
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => {
            let control = text.bytes().take(4096).filter(|b| *b < 9 || (*b > 13 && *b < 28)).count();
            if control > 4 {
                return Err(binary(bytes));
            }
            Ok(Decoded { text: Cow::Borrowed(text), encoding: "UTF-8".into(), suspicions: Vec::new() })
        }
        Err(e) => {
            // Text in a one-byte encoding is mostly ASCII; noise is not.
            let head = &bytes[..bytes.len().min(65_536)];
            let control = head.iter().filter(|b| **b < 9 || (**b > 13 && **b < 28)).count();
            let high = head.iter().filter(|b| **b >= 128).count();
            if control > 0 || high * 2 > head.len() {
                return Err(binary(bytes));
            }
            let line = 1 + memchr::memchr_iter(b'\n', &bytes[..e.valid_up_to()]).count();
            let mut decoded = with(WINDOWS_1252, bytes, "because it is not valid UTF-8")?;
            decoded.suspicions.push(format!(
                "line {line} holds the byte {:02X}, which is not UTF-8; read as windows-1252 (option encoding)",
                bytes[e.valid_up_to()]
            ));
            Ok(decoded)
        }
    }
}

fn with<'a>(encoding: &'static Encoding, bytes: &'a [u8], why: &str) -> Result<Decoded<'a>> {
    let (text, used, broken) = encoding.decode(bytes);
    if broken {
        return Err(Error::new(
            ErrorKind::Format,
            format!("the bytes are not {} throughout ({why}), so characters would be lost", used.name()),
        )
        .hint("set the option encoding, or export the file again as UTF-8"));
    }
    if memchr(0, text.as_bytes()).is_some() {
        return Err(binary(bytes));
    }
    if text.trim().is_empty() {
        return Err(Error::new(ErrorKind::Format, "the file holds blanks only; rows of time and signal are wanted"));
    }
    let name = if used == UTF_8 { "UTF-8" } else { used.name() };
    Ok(Decoded { text, encoding: format!("{name}, {why}"), suspicions: Vec::new() })
}

/// UTF-16 without a mark: mostly ASCII, so every other byte is zero.
fn zero_pattern(bytes: &[u8]) -> Option<&'static Encoding> {
    let head = &bytes[..bytes.len().min(4096) & !1];
    let half = head.len() / 2;
    let zeros = |offset: usize| head.iter().skip(offset).step_by(2).filter(|b| **b == 0).count();
    let (first, second) = (zeros(0), zeros(1));
    // 90 %: an export is ASCII but for names and a unit; our own choice.
    if bytes.len() % 2 == 1 || half == 0 {
        None
    } else if second * 10 >= half * 9 && first == 0 {
        Some(UTF_16LE)
    } else if first * 10 >= half * 9 && second == 0 {
        Some(UTF_16BE)
    } else {
        None
    }
}

/// Formats that are often handed over by mistake, by their first bytes.
fn refuse_known_binaries(bytes: &[u8]) -> Result<()> {
    const STARTS: &[(&[u8], &str, &str)] = &[
        (b"CDF\x01", "a netCDF file", "it is cut off if a trace was wanted; export it again"),
        (b"CDF\x02", "a netCDF file", "it is cut off if a trace was wanted; export it again"),
        (b"\x89HDF", "an HDF5 file", "export the trace as text (CSV)"),
        (b"PK\x03\x04", "a zip archive, but not one of .xlsx or .ods", "unpack it, or save the sheet as CSV"),
        (b"\xd0\xcf\x11\xe0", "an old binary spreadsheet or document", "save the sheet as CSV"),
        (b"%PDF", "a PDF document", "export the trace as text (CSV)"),
        (b"\x1f\x8b", "a gzip archive", "unpack it first"),
        (b"\x89PNG", "a picture", "export the trace as text (CSV)"),
        (b"<?xml", "an XML file", "export the trace as text (CSV)"),
    ];
    for (start, what, hint) in STARTS {
        if bytes.starts_with(start) {
            return Err(Error::new(ErrorKind::Format, format!("this is {what}; delimited text is wanted")).hint(*hint));
        }
    }
    Ok(())
}

fn binary(bytes: &[u8]) -> Error {
    let at = bytes.iter().position(|b| *b < 9 || (*b > 13 && *b < 28)).unwrap_or(0);
    Error::new(
        ErrorKind::Format,
        format!("this is a binary file (byte {} is {:02X}); delimited text is wanted", at + 1, bytes[at]),
    )
    .hint("export the trace as text (CSV), or set the option encoding if it is text after all")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn utf8_is_borrowed_and_marks_are_taken_off() {
        assert!(matches!(decode("µ".as_bytes(), None).expect("text").text, Cow::Borrowed("µ")));
        assert_eq!(decode(b"\xef\xbb\xbfa;b", None).expect("text").text, "a;b");
        assert_eq!(decode(b"\xff\xfea\0;\0b\0", None).expect("text").text, "a;b");
        assert_eq!(decode(b"\xfe\xff\0a\0;\0b", None).expect("text").text, "a;b");
        assert_eq!(decode(b"a\0;\0b\0\n\0", None).expect("text").text, "a;b\n");
    }

    #[test]
    fn one_byte_micro_sign_is_read_and_reported() {
        let d = decode(b"y unit\t25 \xb5V\n0.0\t13\n", None).expect("text");
        assert!(d.text.contains("25 µV"));
        assert!(d.encoding.starts_with("windows-1252"));
        assert!(d.suspicions[0].contains("line 1 holds the byte B5"));
    }

    #[test]
    fn what_is_no_text_is_named() {
        for (bytes, word) in [
            (&b""[..], "empty"),
            (b"CDF\x01\0\0", "netCDF"),
            (b"ab\0\x01\x02cd", "binary"),
            (b"PK\x03\x04..", "zip"),
            (b"\x01\x02\x03\x04\x05\x06\xff\xfe", "binary"),
        ] {
            let e = decode(bytes, None).expect_err(word).to_string();
            assert!(e.contains(word), "{e}");
        }
        assert_eq!(decode(b"1;2", Some("no-such")).expect_err("label").kind(), ErrorKind::Option);
    }
}
