//! The structure of a netCDF-3 file (classic and 64-bit offset): dimensions, attributes, variables, and their values.
//!
//! "NetCDF Classic and 64-bit Offset File Formats", Unidata netCDF documentation, appendix B. Every count in the
//! header is held against the bytes that are left before anything is allocated for it, so that a file never costs
//! more than a few times its own size.

use crate::error::{Error, ErrorKind, Result};

/// A parsed header over the file's bytes; values are read on demand.
pub(super) struct NetCdf<'a> {
    bytes: &'a [u8],
    dimensions: Vec<Dimension>,
    /// Attributes of the file as a whole.
    pub(super) attributes: Vec<Attribute>,
    variables: Vec<Variable>,
    records: usize,
    /// Bytes from one record to the next.
    record_bytes: usize,
}

struct Dimension {
    /// 0 for the record dimension.
    length: usize,
}

/// A named value of the file or of a variable.
pub(super) struct Attribute {
    pub(super) name: String,
    pub(super) value: Value,
}

/// What an attribute holds.
pub(super) enum Value {
    /// Text without the zero bytes behind it, trimmed.
    Text(String),
    /// Numbers of any type.
    Numbers(Vec<f64>),
}

struct Variable {
    name: String,
    dimensions: Vec<usize>,
    attributes: Vec<Attribute>,
    kind: Kind,
    begin: usize,
}

#[derive(Clone, Copy, PartialEq)]
pub(super) enum Kind {
    Byte,
    Char,
    Short,
    Int,
    Float,
    Double,
}

/// Values that stand for "nothing here": -9999 is common practice in this trade, 9.969e36 is the format's own fill.
pub(super) fn is_missing(value: f64) -> bool {
    !value.is_finite() || value == -9999.0 || (value > 9.9e36 && value < 1.0e37)
}

impl<'a> NetCdf<'a> {
    /// Reads the header.
    ///
    /// # Errors
    /// Another version of the format, a count beyond the file's end, a variable that lies outside: with the byte.
    pub(super) fn parse(bytes: &'a [u8]) -> Result<Self> {
        let wide = match bytes.get(..4) {
            Some(b"CDF\x01") => false,
            Some(b"CDF\x02") => true,
            Some(b"CDF\x05") => {
                return Err(Error::new(
                    ErrorKind::Format,
                    "this is netCDF with 64-bit data (CDF-5); netCDF-3, classic or 64-bit offset, is wanted",
                )
                .hint("convert it to the classic format"));
            }
            _ => return Err(Error::new(ErrorKind::Format, "this is no netCDF-3 file; it should begin with CDF")),
        };
        let mut c = Cursor { bytes, at: 4, wide };
        let records = c.u32()?;
        let count = c.list(10, 8, "dimensions")?;
        let mut dimensions = Vec::with_capacity(count);
        for _ in 0..count {
            c.name()?;
            dimensions.push(Dimension { length: c.u32()? as usize });
        }
        let attributes = c.attributes()?;
        let count = c.list(11, 28, "variables")?;
        let mut variables = Vec::with_capacity(count);
        for _ in 0..count {
            variables.push(c.variable(dimensions.len())?);
        }
        let mut file = NetCdf { bytes, dimensions, attributes, variables, records: 0, record_bytes: 0 };
        file.settle_records(records)?;
        Ok(file)
    }

    /// The text of a file attribute; `None` where there is none or it is empty.
    pub(super) fn text(&self, name: &str) -> Option<&str> {
        text_of(&self.attributes, name)
    }

    /// The text of a variable's attribute.
    pub(super) fn text_at(&self, variable: &str, name: &str) -> Option<&str> {
        text_of(&self.find(variable)?.attributes, name)
    }

    /// True where there is such a variable.
    pub(super) fn has(&self, variable: &str) -> bool {
        self.find(variable).is_some()
    }

    /// The type of a variable.
    pub(super) fn kind(&self, variable: &str) -> Option<Kind> {
        self.find(variable).map(|v| v.kind)
    }

    /// The first number of a variable, or of a file attribute of that name; `None` where missing.
    pub(super) fn number(&self, name: &str) -> Result<Option<f64>> {
        let value = if self.has(name) {
            self.numbers(name)?.first().copied()
        } else {
            self.attributes.iter().find(|a| a.name == name).and_then(|a| match &a.value {
                Value::Numbers(n) => n.first().copied(),
                Value::Text(t) => t.parse().ok(),
            })
        };
        Ok(value.filter(|v| !is_missing(*v)))
    }

    /// All numbers of a variable, in order; empty where there is no such variable.
    pub(super) fn numbers(&self, name: &str) -> Result<Vec<f64>> {
        let Some(v) = self.find(name) else { return Ok(Vec::new()) };
        let mut out = Vec::new();
        self.each_part(v, |part, parts| {
            out.reserve_exact(if out.is_empty() { part.len() / v.kind.size() * parts } else { 0 });
            v.kind.numbers(part, &mut out);
        })?;
        Ok(out)
    }

    /// The rows of a character variable, without the zero bytes behind them, trimmed.
    pub(super) fn texts(&self, name: &str) -> Result<Vec<String>> {
        let Some(v) = self.find(name).filter(|v| v.kind == Kind::Char) else { return Ok(Vec::new()) };
        let width = v.dimensions.last().map_or(1, |&d| self.dimensions[d].length).max(1);
        let mut out = Vec::new();
        self.each_part(v, |part, _| out.extend(part.chunks(width).map(text)))?;
        Ok(out)
    }

    fn find(&self, name: &str) -> Option<&Variable> {
        self.variables.iter().find(|v| v.name == name)
    }

    /// Hands over the bytes of a variable, one part or one per record, and how many parts there are.
    fn each_part(&self, v: &Variable, mut take: impl FnMut(&[u8], usize)) -> Result<()> {
        let outside = || {
            Error::new(
                ErrorKind::Format,
                format!(
                    "the variable {} begins at byte {} and runs beyond the file's end ({} bytes)",
                    v.name,
                    v.begin,
                    self.bytes.len()
                ),
            )
            .hint("the file was cut off; export it again")
        };
        let bytes = self.bytes_of(v).ok_or_else(outside)?;
        let part = |begin: usize| self.bytes.get(begin..begin.checked_add(bytes)?);
        if !self.is_record(v) {
            take(part(v.begin).ok_or_else(outside)?, 1);
            return Ok(());
        }
        // The last record first: only then is room made for them all.
        if self.records > 0 {
            let last = (self.records - 1).checked_mul(self.record_bytes).and_then(|b| b.checked_add(v.begin));
            last.and_then(part).ok_or_else(outside)?;
        }
        for r in 0..self.records {
            take(part(v.begin + r * self.record_bytes).ok_or_else(outside)?, self.records);
        }
        Ok(())
    }

    fn is_record(&self, v: &Variable) -> bool {
        v.dimensions.first().is_some_and(|&d| self.dimensions[d].length == 0)
    }

    /// Bytes of the variable, or of one record of it; `None` where the product is beyond any file.
    fn bytes_of(&self, v: &Variable) -> Option<usize> {
        let skip = usize::from(self.is_record(v));
        let mut bytes = v.kind.size();
        for &d in &v.dimensions[skip..] {
            bytes = bytes.checked_mul(self.dimensions[d].length)?;
        }
        (bytes <= self.bytes.len()).then_some(bytes)
    }

    /// How long a record is and how many there are; all bits set means "count them yourself".
    fn settle_records(&mut self, stated: u32) -> Result<()> {
        let of_records: Vec<&Variable> = self.variables.iter().filter(|v| self.is_record(v)).collect();
        let mut sizes = Vec::with_capacity(of_records.len());
        for v in &of_records {
            sizes.push(self.bytes_of(v).ok_or_else(|| {
                Error::new(ErrorKind::Format, format!("one record of {} is larger than the file", v.name))
            })?);
        }
        // A lone variable of records is not padded; "byte, char or short" in the standard comes to the same.
        let record_bytes = match sizes.as_slice() {
            [one] => *one,
            several => several.iter().map(|b| b.next_multiple_of(4)).sum(),
        };
        let begin = of_records.iter().map(|v| v.begin).min().unwrap_or(0);
        let room = self.bytes.len().saturating_sub(begin).checked_div(record_bytes).unwrap_or(0);
        let records = if stated == u32::MAX { room } else { stated as usize };
        if !of_records.is_empty() && record_bytes > 0 && records > room + 1 {
            return Err(Error::new(
                ErrorKind::Format,
                format!("the header states {records} records, but there is room for {room}"),
            )
            .hint("the file was cut off; export it again"));
        }
        (self.records, self.record_bytes) = (if record_bytes == 0 { 0 } else { records }, record_bytes);
        Ok(())
    }
}

impl Kind {
    fn of(code: u32) -> Option<Kind> {
        Some(match code {
            1 => Kind::Byte,
            2 => Kind::Char,
            3 => Kind::Short,
            4 => Kind::Int,
            5 => Kind::Float,
            6 => Kind::Double,
            _ => return None,
        })
    }

    fn size(self) -> usize {
        match self {
            Kind::Byte | Kind::Char => 1,
            Kind::Short => 2,
            Kind::Int | Kind::Float => 4,
            Kind::Double => 8,
        }
    }

    /// Big-endian numbers, all exact in a double.
    fn numbers(self, bytes: &[u8], out: &mut Vec<f64>) {
        match self {
            Kind::Byte => out.extend(bytes.iter().map(|b| f64::from(b.cast_signed()))),
            Kind::Char => out.extend(bytes.iter().map(|b| f64::from(*b))),
            Kind::Short => out.extend(bytes.as_chunks().0.iter().map(|b| f64::from(i16::from_be_bytes(*b)))),
            Kind::Int => out.extend(bytes.as_chunks().0.iter().map(|b| f64::from(i32::from_be_bytes(*b)))),
            Kind::Float => out.extend(bytes.as_chunks().0.iter().map(|b| f64::from(f32::from_be_bytes(*b)))),
            Kind::Double => out.extend(bytes.as_chunks().0.iter().map(|b| f64::from_be_bytes(*b))),
        }
    }
}

/// A place in the header.
struct Cursor<'a> {
    bytes: &'a [u8],
    at: usize,
    wide: bool,
}

impl Cursor<'_> {
    fn cut(&self) -> Error {
        Error::new(
            ErrorKind::Format,
            format!("the netCDF header breaks off or is damaged at byte {} of {}", self.at + 1, self.bytes.len()),
        )
        .hint("the file was cut off or changed in transfer (as text?); export it again")
    }

    fn take(&mut self, n: usize) -> Result<&[u8]> {
        let end = self.at.checked_add(n).filter(|e| *e <= self.bytes.len()).ok_or_else(|| self.cut())?;
        let part = &self.bytes[self.at..end];
        self.at = end;
        Ok(part)
    }

    fn u32(&mut self) -> Result<u32> {
        let b = self.take(4)?;
        Ok(u32::from_be_bytes([b[0], b[1], b[2], b[3]]))
    }

    /// A count of elements of at least `least` bytes each; more than fit into the rest is damage.
    fn count(&mut self, least: usize) -> Result<usize> {
        let n = self.u32()? as usize;
        match n.checked_mul(least) {
            Some(bytes) if bytes <= self.bytes.len() - self.at => Ok(n),
            _ => Err(self.cut()),
        }
    }

    /// The tag and length of a list; an absent list is two zeros.
    fn list(&mut self, tag: u32, least: usize, what: &str) -> Result<usize> {
        let seen = self.u32()?;
        let n = self.count(least)?;
        if seen == tag || (seen == 0 && n == 0) {
            return Ok(n);
        }
        Err(Error::new(ErrorKind::Format, format!("byte {}: a list of {what} is wanted here", self.at - 7))
            .hint("the file is damaged; export it again"))
    }

    /// Bytes and the padding to the next multiple of four.
    fn padded(&mut self, n: usize) -> Result<&[u8]> {
        let whole = self.take(n.checked_next_multiple_of(4).ok_or_else(|| self.cut())?)?;
        Ok(&whole[..n])
    }

    fn name(&mut self) -> Result<String> {
        let n = self.count(1)?;
        Ok(text(self.padded(n)?))
    }

    fn kind(&mut self) -> Result<Kind> {
        let code = self.u32()?;
        Kind::of(code).ok_or_else(|| {
            Error::new(ErrorKind::Format, format!("byte {}: {code} is no type of netCDF-3 (1 to 6)", self.at - 3))
        })
    }

    fn attributes(&mut self) -> Result<Vec<Attribute>> {
        let count = self.list(12, 12, "attributes")?;
        let mut attributes = Vec::with_capacity(count);
        for _ in 0..count {
            let name = self.name()?;
            let kind = self.kind()?;
            let n = self.count(kind.size())?;
            let bytes = self.padded(n * kind.size())?;
            let value = if kind == Kind::Char {
                Value::Text(text(bytes))
            } else {
                let mut numbers = Vec::with_capacity(n);
                kind.numbers(bytes, &mut numbers);
                Value::Numbers(numbers)
            };
            attributes.push(Attribute { name, value });
        }
        Ok(attributes)
    }

    fn variable(&mut self, known: usize) -> Result<Variable> {
        let name = self.name()?;
        let count = self.count(4)?;
        let mut dimensions = Vec::with_capacity(count);
        for _ in 0..count {
            let d = self.u32()? as usize;
            if d >= known {
                return Err(Error::new(
                    ErrorKind::Format,
                    format!("the variable {name} uses dimension {d}, but there are {known}"),
                ));
            }
            dimensions.push(d);
        }
        let attributes = self.attributes()?;
        let kind = self.kind()?;
        self.u32()?; // Its size, which the dimensions say better: it overflows in large files.
        let begin = if self.wide { u64::from(self.u32()?) << 32 | u64::from(self.u32()?) } else { self.u32()?.into() };
        let begin = usize::try_from(begin).map_err(|_| self.cut())?;
        Ok(Variable { name, dimensions, attributes, kind, begin })
    }
}

fn text_of<'b>(attributes: &'b [Attribute], name: &str) -> Option<&'b str> {
    attributes.iter().find(|a| a.name == name).and_then(|a| match &a.value {
        Value::Text(t) if !t.is_empty() => Some(t.as_str()),
        _ => None,
    })
}

/// Text up to its first zero byte: UTF-8, or else windows-1252.
fn text(bytes: &[u8]) -> String {
    let bytes = &bytes[..memchr::memchr(0, bytes).unwrap_or(bytes.len())];
    match std::str::from_utf8(bytes) {
        Ok(t) => t.trim().to_owned(),
        Err(_) => encoding_rs::WINDOWS_1252.decode_without_bom_handling(bytes).0.trim().to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(version: u8, list: &[u32]) -> Vec<u8> {
        let mut bytes = b"CDF".to_vec();
        bytes.push(version);
        bytes.extend(list.iter().flat_map(|w| w.to_be_bytes()));
        bytes
    }

    #[test]
    fn records_of_a_lone_short_variable_are_not_padded() {
        let name = u32::from_be_bytes(*b"v\0\0\0");
        // 3 records, one unlimited dimension, no attributes, one variable of type short at byte 80.
        let mut bytes = words(1, &[3, 10, 1, 1, name, 0, 0, 0, 11, 1, 1, name, 1, 0, 0, 0, 3, 4, 80]);
        assert_eq!(bytes.len(), 80);
        bytes.extend([0, 7, 255, 255, 0, 9]);
        let file = NetCdf::parse(&bytes).expect("a file");
        assert_eq!(file.numbers("v").expect("numbers"), [7.0, -1.0, 9.0]);
        // "Count them yourself" gives the same.
        bytes[4..8].fill(255);
        assert_eq!(NetCdf::parse(&bytes).expect("a file").numbers("v").expect("numbers").len(), 3);
        bytes[4..8].copy_from_slice(&1000u32.to_be_bytes());
        assert!(NetCdf::parse(&bytes).err().expect("too many").to_string().contains("room for 3"));
    }

    #[test]
    fn counts_beyond_the_file_are_refused_before_anything_is_allocated() {
        for list in [&[0, 10, u32::MAX][..], &[0, 0, 0, 12, 0x7fff_ffff], &[0, 0, 0, 0, 0, 11, 0x1000_0000]] {
            let e = NetCdf::parse(&words(1, list)).err().expect("damaged").to_string();
            assert!(e.contains("damaged at byte"), "{e}");
        }
        assert!(NetCdf::parse(b"CDF\x05").err().expect("refused").to_string().contains("64-bit data"));
        assert!(NetCdf::parse(b"CD").is_err());
    }
}
