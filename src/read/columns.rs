//! Which column is the time and which the signal: by option, by name, by behaviour; otherwise a question.

use super::axis;
use super::header::Header;
use super::names::{Meaning, fold};
use super::options::{ColumnChoice, ReadOptions};
use super::scan::Column;
use crate::error::{Error, ErrorKind, Result};

/// A column and why it was taken.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Choice {
    pub(crate) column: usize,
    pub(crate) why: &'static str,
}

/// The parts that columns play.
#[derive(Debug)]
pub(crate) struct Roles {
    /// `None` where times are made from an interval.
    pub(crate) time: Option<Choice>,
    pub(crate) signal: Choice,
    pub(crate) suspicions: Vec<String>,
}

/// Finds the columns of time and signal among `columns`, which belong to one trace.
///
/// `words` is a cell of a text column that changes from row to row, for the sentence that finds no time.
pub(crate) fn assign(
    columns: &[Column],
    rows: usize,
    header: &Header,
    options: &ReadOptions,
    words: Option<&str>,
) -> Result<Roles> {
    let numeric: Vec<usize> = (0..columns.len()).filter(|&c| columns[c].numeric && columns[c].missing < rows).collect();
    let table = Columns { columns, header, numeric };
    let time = match (&options.time_column, options.interval_s) {
        (Some(choice), _) => Some(Choice { column: table.chosen("time_column", choice)?, why: "as the option says" }),
        (None, Some(_)) => None,
        (None, None) => Some(table.find_time(words)?),
    };
    let mut suspicions = Vec::new();
    let signal = match &options.signal_column {
        Some(choice) => Choice { column: table.chosen("signal_column", choice)?, why: "as the option says" },
        None => table.find_signal(time.as_ref().map(|t| t.column), &mut suspicions)?,
    };
    if time.as_ref().is_some_and(|t| t.column == signal.column) {
        return Err(Error::new(
            ErrorKind::Option,
            format!("{} cannot be both time and signal", header.describe(signal.column)),
        )
        .hint("set time_column and signal_column to different columns"));
    }
    if table.is_constant(signal.column) {
        suspicions.push(format!("the signal, {}, is the same in every row", header.describe(signal.column)));
    }
    Ok(Roles { time, signal, suspicions })
}

struct Columns<'a> {
    columns: &'a [Column],
    header: &'a Header,
    numeric: Vec<usize>,
}

impl Columns<'_> {
    /// The column that an option names.
    fn chosen(&self, field: &str, choice: &ColumnChoice) -> Result<usize> {
        let found = match choice {
            ColumnChoice::Number(n) => (1..=self.columns.len()).contains(n).then(|| n - 1).into_iter().collect(),
            ColumnChoice::Name(name) => {
                let wanted = fold(name);
                let by = |f: &dyn Fn(usize) -> String| -> Vec<usize> {
                    (0..self.columns.len()).filter(|&c| !wanted.is_empty() && f(c) == wanted).collect()
                };
                let exact = by(&|c| fold(&self.header.names[c].text));
                if exact.is_empty() { by(&|c| fold(&self.header.names[c].base)) } else { exact }
            }
        };
        match found.as_slice() {
            [column] if self.numeric.contains(column) => Ok(*column),
            [column] => Err(Error::new(
                ErrorKind::Option,
                format!("{field} names {}, which holds no numbers", self.header.describe(*column)),
            )
            .hint(format!("columns of numbers: {}", self.list(&self.numeric)))),
            [] => Err(Error::new(ErrorKind::NotFound, format!("{field} is {choice}, but there is no such column"))
                .hint(format!("columns of numbers: {}", self.list(&self.numeric)))),
            several => Err(Error::new(
                ErrorKind::Ambiguous,
                format!("{field} is {choice}, which names {} columns: {}", several.len(), self.list(several)),
            )
            .hint(format!("set {field} to a number"))),
        }
    }

    fn find_time(&self, words: Option<&str>) -> Result<Choice> {
        let named: Vec<usize> = self.of_meaning(Meaning::Time);
        match named.as_slice() {
            [one] => return Ok(Choice { column: *one, why: "named so" }),
            [] => {}
            several => {
                let rising: Vec<usize> = several.iter().copied().filter(|&c| self.rises(c)).collect();
                return match rising.as_slice() {
                    [one] => Ok(Choice { column: *one, why: "named so, and rises from row to row" }),
                    _ => Err(Error::new(
                        ErrorKind::Ambiguous,
                        format!("{} columns are named as times: {}", several.len(), self.list(several)),
                    )
                    .hint("set time_column and signal_column")),
                };
            }
        }
        // No name says it: the column that rises evenly, but not a running number beside a better one.
        let even: Vec<usize> = self
            .numeric
            .iter()
            .copied()
            .filter(|&c| !matches!(self.header.names[c].meaning, Meaning::Signal | Meaning::Index))
            .filter(|&c| axis::rises_evenly(&self.columns[c].values, self.columns[c].scale))
            .collect();
        let better: Vec<usize> =
            even.iter().copied().filter(|&c| !axis::is_running_number(&self.columns[c].values)).collect();
        let rest = if better.is_empty() { &even } else { &better };
        match rest.as_slice() {
            [one] => Ok(Choice { column: *one, why: "the only one that rises evenly" }),
            [] => Err(self.no_time(words)),
            several => Err(Error::new(
                ErrorKind::Ambiguous,
                format!("{} columns rise evenly and may be times: {}", several.len(), self.list(several)),
            )
            .hint("set time_column and signal_column; runs side by side are read one by one")),
        }
    }

    fn no_time(&self, words: Option<&str>) -> Error {
        let what = match self.numeric.as_slice() {
            [one] => format!("{} is the only column of numbers; a trace needs times", self.header.describe(*one)),
            several => format!(
                "none of the {} columns of numbers ({}) is named as time or rises evenly; a trace needs times",
                several.len(),
                self.list(several)
            ),
        };
        let rate = self
            .header
            .rate()
            .map_or(String::new(), |fact| format!("; line {} (\"{}\") may tell", fact.line, fact.shown));
        let words = words.map_or(String::new(), |w| format!("; text such as \"{w}\" is not read as a time"));
        Error::new(ErrorKind::Ambiguous, what + &words)
            .hint(format!("set interval_s (seconds between points), or time_column{rate}"))
    }

    fn find_signal(&self, time: Option<usize>, suspicions: &mut Vec<String>) -> Result<Choice> {
        let named = self.header.names_line.is_some();
        let candidates: Vec<usize> = self
            .numeric
            .iter()
            .copied()
            .filter(|&c| Some(c) != time && !matches!(self.header.names[c].meaning, Meaning::Time | Meaning::Index))
            .collect();
        // An unnamed running number beside other columns is not a signal.
        let unnamed = |c: usize| !named || self.header.names[c].text.is_empty();
        let counted: Vec<usize> = candidates
            .iter()
            .copied()
            .filter(|&c| unnamed(c) && axis::is_running_number(&self.columns[c].values))
            .collect();
        let candidates: Vec<usize> = if counted.len() < candidates.len() {
            candidates.into_iter().filter(|c| !counted.contains(c)).collect()
        } else {
            candidates
        };
        if candidates.is_empty() {
            let message = match time {
                Some(t) => {
                    format!("{} is the time and no column of numbers is left for the signal", self.header.describe(t))
                }
                None => "no column of numbers is left for the signal".to_owned(),
            };
            return Err(Error::new(ErrorKind::Format, message)
                .hint("export time and signal, or set interval_s if this column is the signal"));
        }
        if let [one] = candidates.as_slice() {
            return Ok(Choice { column: *one, why: "the only one left" });
        }
        let clear: Vec<usize> =
            candidates.iter().copied().filter(|&c| self.header.names[c].meaning == Meaning::Signal).collect();
        if let [one] = clear.as_slice() {
            return Ok(Choice { column: *one, why: "named so" });
        }
        let varying: Vec<usize> = candidates.iter().copied().filter(|&c| !self.is_constant(c)).collect();
        if let ([one], true) = (varying.as_slice(), clear.is_empty()) {
            for c in candidates.iter().filter(|c| *c != one) {
                suspicions.push(format!("{} is the same in every row and was left aside", self.header.describe(*c)));
            }
            return Ok(Choice { column: *one, why: "the only one that varies" });
        }
        let several = if clear.is_empty() { &candidates } else { &clear };
        Err(Error::new(
            ErrorKind::Ambiguous,
            format!("{} columns may be the signal: {}", several.len(), self.list(several)),
        )
        .hint("set signal_column to a name or a number"))
    }

    fn of_meaning(&self, meaning: Meaning) -> Vec<usize> {
        self.numeric.iter().copied().filter(|&c| self.header.names[c].meaning == meaning).collect()
    }

    fn rises(&self, c: usize) -> bool {
        let values = &self.columns[c].values;
        values.windows(2).all(|w| w[1] >= w[0]) && values.last() > values.first()
    }

    fn is_constant(&self, c: usize) -> bool {
        let mut numbers = self.columns[c].values.iter().filter(|v| !v.is_nan());
        let first = numbers.next();
        numbers.all(|v| Some(v) == first)
    }

    fn list(&self, columns: &[usize]) -> String {
        let mut names: Vec<String> = columns.iter().take(6).map(|&c| self.header.describe(c)).collect();
        if columns.len() > 6 {
            names.push(format!("and {} more", columns.len() - 6));
        }
        names.join(", ")
    }
}
