//! Which format a file is, by its content and never by its ending; open formats other than delimited text are read here.

use super::decode;
use super::delimited::Found;
use super::jcamp_trace;
use super::names::{fold, signal_unit};
use super::netcdf_trace;
use super::options::{ColumnChoice, ReadOptions};
use super::peak_table::TabledPeak;
use super::spreadsheet;
use crate::error::{Error, ErrorKind, Result};

/// What the first bytes say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Format {
    NetCdf,
    Jcamp,
    Spreadsheet,
    /// Delimited text, or what the text reader refuses by name.
    Text,
}

fn format_of(bytes: &[u8]) -> Format {
    // A netCDF header has at least 32 bytes; fewer are for the text reader to name.
    if bytes.len() >= 32 && (bytes.starts_with(b"CDF\x01") || bytes.starts_with(b"CDF\x02"))
        || bytes.starts_with(b"CDF\x05")
    {
        Format::NetCdf
    } else if spreadsheet::is_one(bytes) {
        Format::Spreadsheet
    } else if is_jcamp(bytes) {
        Format::Jcamp
    } else {
        Format::Text
    }
}

/// The one trace of a file of another format than text; `None` where it is text.
pub(super) fn read_one(bytes: &[u8], options: &ReadOptions) -> Result<Option<Found>> {
    Ok(Some(match format_of(bytes) {
        Format::Text => return Ok(None),
        Format::NetCdf => netcdf_trace::read(bytes, options)?,
        Format::Jcamp => {
            let decoded = decode::decode(bytes, options.encoding.as_deref())?;
            settled(jcamp_trace::read_one(&decoded.text, options)?, &decoded)
        }
        Format::Spreadsheet => spreadsheet::read_one(bytes, options)?,
    }))
}

/// Every trace of such a file, or the one that the option `trace` names; `None` where it is text.
pub(super) fn read_all(bytes: &[u8], options: &ReadOptions) -> Result<Option<Vec<Found>>> {
    Ok(Some(match format_of(bytes) {
        Format::Text => return Ok(None),
        Format::NetCdf => vec![netcdf_trace::read(bytes, options)?],
        Format::Jcamp => {
            let decoded = decode::decode(bytes, options.encoding.as_deref())?;
            let found = jcamp_trace::read_all(&decoded.text, options)?;
            found.into_iter().map(|f| settled(f, &decoded)).collect()
        }
        Format::Spreadsheet => spreadsheet::read_all(bytes, options)?,
    }))
}

/// The peak table of a file.
pub(super) fn peaks(bytes: &[u8], options: &ReadOptions) -> Result<Vec<TabledPeak>> {
    options.check()?;
    match format_of(bytes) {
        Format::NetCdf => netcdf_trace::peaks(bytes, options),
        Format::Jcamp => jcamp_trace::peaks(&decode::decode(bytes, options.encoding.as_deref())?.text, options),
        Format::Spreadsheet | Format::Text => Err(Error::new(
            ErrorKind::Format,
            "peak tables are read from ASTM E1947 netCDF-3 and from JCAMP-DX; this is another format",
        )
        .hint("a table in text or a spreadsheet is read with Table::read")),
    }
}

/// The place of the chosen name in `labels`.
pub(super) fn choose(labels: &[String], choice: &ColumnChoice) -> Result<usize> {
    let found: Vec<usize> = match choice {
        ColumnChoice::Number(n) => (1..=labels.len()).contains(n).then(|| n - 1).into_iter().collect(),
        ColumnChoice::Name(name) => (0..labels.len()).filter(|&i| fold(&labels[i]) == fold(name)).collect(),
    };
    let message = match found.as_slice() {
        [one] => return Ok(*one),
        [] => format!("the option trace is {choice}, but there is no such trace"),
        several => format!("the option trace is {choice}, which names {} traces", several.len()),
    };
    Err(Error::new(ErrorKind::NotFound, message).hint(format!("traces: {}; a number settles it", list(labels))))
}

/// Names for a sentence.
pub(super) fn list(labels: &[String]) -> String {
    let mut names: Vec<String> =
        labels.iter().take(6).enumerate().map(|(i, label)| format!("{} = \"{label}\"", i + 1)).collect();
    if labels.len() > 6 {
        names.push(format!("and {} more", labels.len() - 6));
    }
    names.join(", ")
}

/// A signal unit as it is printed; "Volts" like "volts", but never "MV" like "mV".
pub(super) fn spelled(text: &str) -> String {
    let text = text.trim();
    let word = text.len() > 3 && text.chars().all(|c| c.is_alphabetic());
    let found = signal_unit(text).or_else(|| word.then(|| signal_unit(&text.to_lowercase())).flatten());
    // A guard against prose in the place of a unit.
    found.unwrap_or_else(|| text.chars().take(40).collect())
}

fn settled(mut found: Found, decoded: &decode::Decoded<'_>) -> Found {
    found.note.encoding.clone_from(&decoded.encoding);
    found.note.suspicions.splice(0..0, decoded.suspicions.iter().cloned());
    found
}

/// A JCAMP-DX file begins with a labelled record, `##LABEL=`, perhaps behind blank lines and `$$` comments.
fn is_jcamp(bytes: &[u8]) -> bool {
    // UTF-16 is left to the text reader; 4 kB of comments are more than any seen.
    let head = &bytes[..bytes.len().min(4096)];
    let head = head.strip_prefix(b"\xef\xbb\xbf").unwrap_or(head);
    for line in head.split(|b| matches!(b, b'\n' | b'\r')).map(<[u8]>::trim_ascii) {
        if line.is_empty() || line.starts_with(b"$$") {
            continue;
        }
        let Some(record) = line.strip_prefix(b"##") else { return false };
        let Some(end) = memchr::memchr(b'=', record) else { return false };
        let label = super::jcamp::normalised(&String::from_utf8_lossy(&record[..end]));
        return matches!(label.as_str(), "TITLE" | "JCAMPDX" | "DATATYPE" | "DATACLASS" | "BLOCKS" | "JCAMPCS");
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn content_decides() {
        assert_eq!(format_of(b"##TITLE= a\n"), Format::Jcamp);
        assert_eq!(format_of(b"\xef\xbb\xbf\r\n$$ made by hand\r\n ## Data_Type =X\r\n"), Format::Jcamp);
        assert_eq!(format_of(b"## time (min), signal = mV\n0,1\n"), Format::Text);
        assert_eq!(format_of(b"0,1\n##TITLE=\n"), Format::Text);
        assert_eq!(format_of(b"CDF\x01"), Format::Text);
        assert_eq!(format_of(&[b"CDF\x02".as_slice(), &[0; 28]].concat()), Format::NetCdf);
        assert_eq!(format_of(b""), Format::Text);
    }
}
