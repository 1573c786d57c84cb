//! Which column is the time and which the signal: by option, by name, by behaviour; otherwise a question.

use super::axis;
use super::header::Header;
use super::layout::Pair;
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
/// `words` is a cell of a text column that changes from row to row, for the sentence that finds no time; `fixed` are
/// time and signal where several traces stand side by side.
pub(crate) fn assign(
    columns: &[Column],
    rows: usize,
    header: &Header,
    options: &ReadOptions,
    words: Option<&str>,
    fixed: Option<&Pair>,
) -> Result<Roles> {
    let table = Columns::new(columns, rows, header);
    let mut suspicions = Vec::new();
    let time = match (&options.time_column, options.interval_s, fixed) {
        (Some(choice), _, _) => {
            Some(Choice { column: table.chosen("time_column", choice)?, why: "as the option says" })
        }
        (None, Some(_), _) => None,
        (None, None, Some(pair)) => pair.time.clone(),
        (None, None, None) => table.find_time(words, &mut suspicions)?,
    };
    let signal = match (&options.signal_column, fixed) {
        (Some(choice), _) => Choice { column: table.chosen("signal_column", choice)?, why: "as the option says" },
        (None, Some(pair)) => pair.signal.clone(),
        (None, None) => table.find_signal(time.as_ref().map(|t| t.column), &mut suspicions)?,
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

/// Traces side by side, each a time with a signal right of it; empty where the table is not laid out so. The running
/// number in front of all does not count.
pub(crate) fn side_by_side(columns: &[Column], rows: usize, header: &Header, options: &ReadOptions) -> Vec<Pair> {
    if options.interval_s.is_some() {
        return Vec::new();
    }
    let table = Columns::new(columns, rows, header);
    let named = table.of_meaning(Meaning::Time);
    let times: Vec<usize> = match named.len() {
        0 => table.numeric.iter().copied().filter(|&c| table.may_be_time(c) && !table.counts(c)).collect(),
        1 => return Vec::new(),
        _ => named,
    };
    let others: Vec<usize> =
        table.numeric.iter().copied().filter(|c| header.names[*c].meaning != Meaning::Index).collect();
    let first = times.first().copied().unwrap_or(usize::MAX);
    if times.len() < 2 || others.iter().any(|&c| c < first && !table.counts(c)) {
        return Vec::new();
    }
    let mut pairs = Vec::new();
    for (k, &t) in times.iter().enumerate() {
        let next = times.get(k + 1).copied().unwrap_or(usize::MAX);
        let before = pairs.len();
        let pair = |&c: &usize| Pair {
            time: Some(Choice { column: t, why: "the time left of its signal" }),
            signal: Choice { column: c, why: "right of its time" },
        };
        pairs.extend(others.iter().filter(|&&c| c > t && c < next).map(pair));
        if pairs.len() == before {
            return Vec::new();
        }
    }
    pairs
}

/// The signals beside one time, where there are several and nothing says which is meant.
pub(crate) fn signals(columns: &[Column], rows: usize, header: &Header, options: &ReadOptions) -> Vec<Pair> {
    let table = Columns::new(columns, rows, header);
    let time = match options.interval_s {
        Some(_) => None,
        None => match table.find_time(None, &mut Vec::new()) {
            Ok(time) => time,
            Err(_) => return Vec::new(),
        },
    };
    let at = time.as_ref().map(|t| t.column);
    if table.find_signal(at, &mut Vec::new()).is_ok() {
        return Vec::new();
    }
    let pair = |c| Pair { time: time.clone(), signal: Choice { column: c, why: "one of several signals" } };
    table.signal_candidates(at).into_iter().map(pair).collect()
}

struct Columns<'a> {
    columns: &'a [Column],
    header: &'a Header,
    rows: usize,
    numeric: Vec<usize>,
}

impl<'a> Columns<'a> {
    fn new(columns: &'a [Column], rows: usize, header: &'a Header) -> Self {
        let numeric = (0..columns.len()).filter(|&c| columns[c].numeric && columns[c].missing < rows).collect();
        Columns { columns, header, rows, numeric }
    }

    /// The values of a column in the rows that are looked at.
    fn values(&self, c: usize) -> &[f64] {
        let values = &self.columns[c].values;
        &values[..self.rows.min(values.len())]
    }

    /// 0, 1, 2, … without a name that means something else.
    fn counts(&self, c: usize) -> bool {
        let name = &self.header.names[c];
        name.meaning == Meaning::Index || (name.text.is_empty() && axis::is_running_number(self.values(c)))
    }

    /// Rises evenly and is not named as anything else.
    fn may_be_time(&self, c: usize) -> bool {
        !matches!(self.header.names[c].meaning, Meaning::Signal | Meaning::Index)
            && axis::rises_evenly(self.values(c), self.columns[c].scale)
    }

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

    /// The time column; `None` where a line states the interval between points and no column is a time.
    fn find_time(&self, words: Option<&str>, suspicions: &mut Vec<String>) -> Result<Option<Choice>> {
        let named: Vec<usize> = self.of_meaning(Meaning::Time);
        let found = |column, why| Ok(Some(Choice { column, why }));
        match named.as_slice() {
            [one] => return found(*one, "named so"),
            [] => {}
            several => {
                let rising: Vec<usize> = several.iter().copied().filter(|&c| self.rises(c)).collect();
                // A clock beside the time since the start says nothing more.
                let plain: Vec<usize> = rising.iter().copied().filter(|&c| self.columns[c].clock.is_none()).collect();
                // Of several that agree, the one with the finest digits.
                if let Some(&best) = plain.iter().min_by(|a, b| self.digit_min(**a).total_cmp(&self.digit_min(**b)))
                    && plain.iter().all(|&c| c == best || self.same_times(best, c))
                {
                    for &c in plain.iter().filter(|c| **c != best) {
                        suspicions.push(format!(
                            "{} holds the same times as {} and was left aside",
                            self.header.describe(c),
                            self.header.describe(best)
                        ));
                    }
                    return found(best, "named so, and rises from row to row");
                }
                return Err(Error::new(
                    ErrorKind::Ambiguous,
                    format!("{} columns are named as times: {}", several.len(), self.list(several)),
                )
                .hint("set time_column and signal_column"));
            }
        }
        // No name says it: the column that rises evenly, but not a running number beside a better one.
        let even: Vec<usize> = self.numeric.iter().copied().filter(|&c| self.may_be_time(c)).collect();
        let better: Vec<usize> = even.iter().copied().filter(|&c| !axis::is_running_number(self.values(c))).collect();
        let clocks: Vec<usize> = self.numeric.iter().copied().filter(|&c| self.columns[c].clock.is_some()).collect();
        if let ([], [clock]) = (better.as_slice(), clocks.as_slice()) {
            return found(*clock, "the only one with clock times");
        }
        if better.is_empty()
            && let Some(stated) = self.header.interval()
        {
            return match self.header.other_interval() {
                None => Ok(None),
                Some(other) => Err(Error::new(
                    ErrorKind::Ambiguous,
                    format!(
                        "line {} (\"{}\") and line {} (\"{}\") state different intervals between points",
                        stated.fact.line, stated.fact.shown, other.fact.line, other.fact.shown
                    ),
                )
                .hint("set interval_s (seconds between points)")),
            };
        }
        let rest = if better.is_empty() { &even } else { &better };
        match rest.as_slice() {
            [one] => found(*one, "the only one that rises evenly"),
            [] => Err(self.no_time(words)),
            several => Err(Error::new(
                ErrorKind::Ambiguous,
                format!("{} columns rise evenly and may be times: {}", several.len(), self.list(several)),
            )
            .hint("set time_column and signal_column")),
        }
    }

    /// What the last digit of a time column is, in minutes; infinite where its unit is not known.
    fn digit_min(&self, c: usize) -> f64 {
        let digit = 10f64.powi(-self.columns[c].scale.clamp(-15, 15));
        self.header.names[c].time_unit().map_or(f64::INFINITY, |unit| unit.to_minutes(digit))
    }

    /// True where two columns of known units hold the same times, to the last digit that the coarser one writes.
    fn same_times(&self, a: usize, b: usize) -> bool {
        let unit = |c: usize| self.header.names[c].time_unit();
        let (Some(unit_a), Some(unit_b)) = (unit(a), unit(b)) else { return false };
        let allowed = self.digit_min(a).max(self.digit_min(b)) * 0.501;
        let (x, y) = (self.values(a), self.values(b));
        x.len() == y.len()
            && x.iter().zip(y).all(|(x, y)| (unit_a.to_minutes(*x) - unit_b.to_minutes(*y)).abs() <= allowed)
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

    /// Columns of numbers that may be the signal.
    fn signal_candidates(&self, time: Option<usize>) -> Vec<usize> {
        let named = self.header.names_line.is_some();
        let candidates: Vec<usize> = self
            .numeric
            .iter()
            .copied()
            .filter(|&c| Some(c) != time && !matches!(self.header.names[c].meaning, Meaning::Time | Meaning::Index))
            .filter(|&c| self.columns[c].clock.is_none())
            .collect();
        // An unnamed running number beside other columns is not a signal.
        let unnamed = |c: usize| !named || self.header.names[c].text.is_empty();
        let uncounted: Vec<usize> =
            candidates.iter().copied().filter(|&c| !(unnamed(c) && axis::is_running_number(self.values(c)))).collect();
        if uncounted.is_empty() { candidates } else { uncounted }
    }

    fn find_signal(&self, time: Option<usize>, suspicions: &mut Vec<String>) -> Result<Choice> {
        let candidates = self.signal_candidates(time);
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
        if let [first, others @ ..] = several.as_slice()
            && others.iter().all(|&c| self.values(c) == self.values(*first))
        {
            for &c in others {
                suspicions.push(format!(
                    "{} repeats {} and was left aside",
                    self.header.describe(c),
                    self.header.describe(*first)
                ));
            }
            return Ok(Choice { column: *first, why: "the first of equal columns" });
        }
        Err(Error::new(
            ErrorKind::Ambiguous,
            format!("{} columns may be the signal: {}", several.len(), self.list(several)),
        )
        .hint("set signal_column to a name or a number, or read all of them (read_all)"))
    }

    fn of_meaning(&self, meaning: Meaning) -> Vec<usize> {
        self.numeric.iter().copied().filter(|&c| self.header.names[c].meaning == meaning).collect()
    }

    fn rises(&self, c: usize) -> bool {
        let values = self.values(c);
        values.windows(2).all(|w| w[1] >= w[0]) && values.last() > values.first()
    }

    fn is_constant(&self, c: usize) -> bool {
        let mut numbers = self.values(c).iter().filter(|v| !v.is_nan());
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
