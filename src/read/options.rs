//! What a caller may say about a file when its content leaves a question open.

use serde::{Deserialize, Serialize};

use crate::error::{Error, ErrorKind, Result};

/// How to read a trace file. The default asks nothing of the caller: everything is decided from the content, and
/// what the content does not settle is an error whose hint names the field here.
///
/// ```
/// use vialbook::read::{ReadOptions, TimeUnit, read_bytes};
/// let text = b"0.0;12\n0.5;14\n1.0;13\n";
/// assert!(read_bytes("run.txt", text, &ReadOptions::default()).unwrap_err().to_string().contains("time_unit"));
/// let options = ReadOptions { time_unit: Some(TimeUnit::Seconds), ..ReadOptions::default() };
/// assert_eq!(read_bytes("run.txt", text, &options)?.trace.time_min()[1], 0.5 / 60.0);
/// # Ok::<(), vialbook::Error>(())
/// ```
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ReadOptions {
    /// Text encoding by its usual label, such as `utf-8`, `utf-16le` or `windows-1252`.
    pub encoding: Option<String>,
    /// What stands between two cells.
    pub delimiter: Option<Delimiter>,
    /// What stands between whole and decimal digits.
    pub decimal_mark: Option<DecimalMark>,
    /// Lines before the first row of numbers; the last of them may hold the names.
    pub header_rows: Option<usize>,
    /// The column of times, by name or by number counted from 1.
    pub time_column: Option<ColumnChoice>,
    /// The column of the signal, by name or by number counted from 1.
    pub signal_column: Option<ColumnChoice>,
    /// The unit of the time column.
    pub time_unit: Option<TimeUnit>,
    /// The unit of the signal as it stands in the file, such as `mV`.
    pub signal_unit: Option<String>,
    /// Multiplies the signal once, for integer counts that stand for something else; 1 where absent.
    pub signal_factor: Option<f64>,
    /// Seconds between points, for a file without a time column; any time column is then left aside.
    pub interval_s: Option<f64>,
    /// The time of the first point in seconds, for a file without a time column or with clock times.
    pub start_s: Option<f64>,
    /// Points of each channel, where one column holds several under one another.
    pub stacked_points: Option<Vec<usize>>,
    /// What is done with rows whose signal (or time) is missing; an error where absent.
    pub missing_cells: Option<MissingCells>,
    /// What is done with a time that comes twice in a row; an error where absent.
    pub repeated_times: Option<RepeatedTimes>,
    /// Which trace, in a file that holds several: its name, or its number counted from 1.
    pub trace: Option<ColumnChoice>,
    /// Which sheet of a spreadsheet: its name, or its number counted from 1; the first with numbers where absent.
    pub sheet: Option<ColumnChoice>,
}

impl ReadOptions {
    /// Refuses values that cannot mean anything; called once by every reader.
    pub(crate) fn check(&self) -> Result<()> {
        let positive = |field: &str, value: Option<f64>| match value {
            Some(v) if !(v.is_finite() && v > 0.0) => {
                Err(Error::new(ErrorKind::Option, format!("{field} is {v}; a finite number above 0 is wanted"))
                    .at_field(field))
            }
            _ => Ok(()),
        };
        positive("interval_s", self.interval_s)?;
        if let Some(start) = self.start_s.filter(|s| !s.is_finite()) {
            return Err(Error::new(ErrorKind::Option, format!("start_s is {start}; a finite number is wanted"))
                .at_field("start_s"));
        }
        if let Some(f) = self.signal_factor.filter(|f| !f.is_finite() || *f == 0.0) {
            return Err(Error::new(
                ErrorKind::Option,
                format!("signal_factor is {f}; a finite number other than 0 is wanted"),
            )
            .at_field("signal_factor"));
        }
        for (field, choice) in [
            ("time_column", &self.time_column),
            ("signal_column", &self.signal_column),
            ("trace", &self.trace),
            ("sheet", &self.sheet),
        ] {
            if choice == &Some(ColumnChoice::Number(0)) {
                return Err(
                    Error::new(ErrorKind::Option, format!("{field} is 0; numbers count from 1")).at_field(field)
                );
            }
        }
        if self.interval_s.is_some() && (self.time_column.is_some() || self.time_unit.is_some()) {
            let other = if self.time_column.is_some() { "time_column" } else { "time_unit" };
            return Err(Error::new(
                ErrorKind::Option,
                format!("interval_s and {other} contradict each other: the first is for files without a time column"),
            )
            .hint(format!("leave out interval_s or {other}")));
        }
        Ok(())
    }
}

/// What is done with a row whose cell is empty or says "n.a.".
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MissingCells {
    /// The row is passed over; a gap stays.
    LeaveOut,
    /// The signal is put on the straight line between its neighbours.
    Interpolate,
}

/// What is done with rows of one time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RepeatedTimes {
    /// One row with the mean of their signals.
    Mean,
    /// The first of them.
    First,
    /// The last of them.
    Last,
}

/// What stands between two cells of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Delimiter {
    /// `0.5,12`
    Comma,
    /// `0.5;12`
    Semicolon,
    /// A tab character.
    Tab,
    /// `0.5|12`, also as in Markdown, `| 0.5 | 12 |`.
    Bar,
    /// Any run of blanks and tabs.
    Blanks,
    /// Nothing: each line is one number.
    OneColumn,
}

impl Delimiter {
    /// In words, as notes and errors name it.
    pub fn words(self) -> &'static str {
        match self {
            Delimiter::Comma => "comma",
            Delimiter::Semicolon => "semicolon",
            Delimiter::Tab => "tab",
            Delimiter::Bar => "bar",
            Delimiter::Blanks => "blanks",
            Delimiter::OneColumn => "none (one column)",
        }
    }
}

/// What stands between whole and decimal digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DecimalMark {
    /// `0.5`
    Point,
    /// `0,5`
    Comma,
}

impl DecimalMark {
    /// In words, as notes and errors name it.
    pub fn words(self) -> &'static str {
        match self {
            DecimalMark::Point => "point",
            DecimalMark::Comma => "comma",
        }
    }

    pub(crate) fn byte(self) -> u8 {
        match self {
            DecimalMark::Point => b'.',
            DecimalMark::Comma => b',',
        }
    }
}

/// The unit of a time column.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum TimeUnit {
    /// Milliseconds.
    #[serde(rename = "ms", alias = "milliseconds")]
    Milliseconds,
    /// Seconds.
    #[serde(rename = "s", alias = "seconds")]
    Seconds,
    /// Minutes.
    #[serde(rename = "min", alias = "minutes")]
    Minutes,
    /// Hours.
    #[serde(rename = "h", alias = "hours")]
    Hours,
}

impl TimeUnit {
    /// The unit's symbol.
    pub fn symbol(self) -> &'static str {
        match self {
            TimeUnit::Milliseconds => "ms",
            TimeUnit::Seconds => "s",
            TimeUnit::Minutes => "min",
            TimeUnit::Hours => "h",
        }
    }

    /// A time in this unit, in minutes. Minutes pass through bit for bit.
    pub fn to_minutes(self, time: f64) -> f64 {
        match self {
            TimeUnit::Milliseconds => time / 60_000.0,
            TimeUnit::Seconds => time / 60.0,
            TimeUnit::Minutes => time,
            TimeUnit::Hours => time * 60.0,
        }
    }
}

/// A column or a trace of a file: by its name, or by its number counted from 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum ColumnChoice {
    /// Counted from 1.
    Number(usize),
    /// As the file writes it; case, blanks around it and a unit behind it do not matter.
    Name(String),
}

impl From<&str> for ColumnChoice {
    fn from(name: &str) -> Self {
        ColumnChoice::Name(name.to_owned())
    }
}

impl From<usize> for ColumnChoice {
    fn from(number: usize) -> Self {
        ColumnChoice::Number(number)
    }
}

impl std::fmt::Display for ColumnChoice {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            ColumnChoice::Number(n) => write!(f, "{n}"),
            ColumnChoice::Name(name) => write!(f, "\"{name}\""),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn study_files_carry_options_and_unknown_ones_are_refused() {
        let options: ReadOptions =
            toml::from_str("delimiter = \"semicolon\"\ntime_column = 2\nsignal_column = \"FID\"\ntime_unit = \"s\"")
                .expect("known fields");
        assert_eq!(options.delimiter, Some(Delimiter::Semicolon));
        assert_eq!(options.time_column, Some(2.into()));
        assert_eq!(options.signal_column, Some("FID".into()));
        assert_eq!(options.time_unit, Some(TimeUnit::Seconds));
        assert!(toml::from_str::<ReadOptions>("delimitter = \"comma\"").is_err());
    }

    #[test]
    fn options_that_mean_nothing_are_refused() {
        for bad in ["interval_s = 0.0", "interval_s = nan", "signal_factor = 0.0", "time_column = 0"] {
            let options: ReadOptions = toml::from_str(bad).expect("right types");
            assert_eq!(options.check().expect_err(bad).kind(), ErrorKind::Option, "{bad}");
        }
        let both: ReadOptions = toml::from_str("interval_s = 0.1\ntime_column = 1").expect("right types");
        assert!(both.check().is_err());
    }
}
