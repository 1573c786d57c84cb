//! What a column's name says: time, signal or running number, and its unit.

use super::options::TimeUnit;

/// What a name points to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Meaning {
    Time,
    Signal,
    /// A running number.
    Index,
    Unknown,
}

/// A column's name taken apart.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Name {
    /// As written.
    pub(crate) text: String,
    /// Without its unit.
    pub(crate) base: String,
    /// The unit as written, and recognised where possible.
    pub(crate) unit: Option<String>,
    pub(crate) meaning: Meaning,
    /// The name of the group of columns, from a row above the names; empty where there is none.
    pub(crate) group: String,
}

/// Words for time in column names; from exports in several languages, common practice.
const TIME: &[&str] = &[
    "time",
    "times",
    "t",
    "rt",
    "zeit",
    "retention",
    "retentionszeit",
    "temps",
    "tiempo",
    "tempo",
    "tid",
    "aika",
    "czas",
    "время",
    "elapsed",
    "minutes",
    "seconds",
    "minuten",
    "sekunden",
    "milliseconds",
    "时间",
    "時間",
];
/// Words for a detector's signal in column names.
const SIGNAL: &[&str] = &[
    "signal",
    "signals",
    "response",
    "intensity",
    "intensität",
    "detector",
    "value",
    "values",
    "wert",
    "counts",
    "count",
    "voltage",
    "spannung",
    "current",
    "strom",
    "absorbance",
    "tic",
    "ion_current",
    "output",
    "amplitude",
    "intensité",
    "señal",
    "segnale",
    "сигнал",
    "y",
];
/// Words of tables of results; two of them in one row of names are no trace's.
const RESULT: &[&str] = &[
    "area",
    "areas",
    "conc",
    "concentration",
    "amount",
    "content",
    "compound",
    "component",
    "analyte",
    "substance",
    "sample",
    "level",
    "height",
    "recovery",
    "rsd",
    "peak",
    "fläche",
    "konzentration",
    "gehalt",
    "substanz",
    "probe",
    "компонент",
    "площадь",
];
/// Words for a running number in column names.
const INDEX: &[&str] =
    &["index", "no", "no.", "nr", "nr.", "#", "point", "points", "scan", "row", "n", "i", "sample no"];

/// Signal units as printed, with other spellings; the first spelling that fits wins, case matters unless all is small.
const SIGNAL_UNITS: &[(&str, &[&str])] = &[
    ("V", &["volt", "volts"]),
    ("mV", &["millivolt", "millivolts", "mvolt", "mvolts"]),
    ("µV", &["uV", "microvolt", "microvolts"]),
    ("nV", &[]),
    ("A", &[]),
    ("mA", &[]),
    ("µA", &["uA"]),
    ("nA", &[]),
    ("pA", &["picoampere", "picoamperes"]),
    ("fA", &[]),
    ("AU", &["absorbance units"]),
    ("mAU", &["mau"]),
    ("µAU", &["uAU"]),
    ("RIU", &[]),
    ("nRIU", &["nriu"]),
    ("µRIU", &["uRIU"]),
    ("counts", &["count", "cts"]),
    ("cps", &["counts/s"]),
    ("Hz", &[]),
    ("a.u.", &["au", "arb. units", "arb. unit", "arb.", "arbitrary units"]),
];

impl Name {
    /// Takes a name apart: `Zeit (min)`, `time/s`, `Time [s]`, `time_min`, `minutes`, `signal mV`.
    pub(crate) fn parse(text: &str) -> Name {
        let text = text.trim();
        let (base, unit) = take_unit(text);
        let mut name = Name { text: text.to_owned(), base, unit, meaning: Meaning::Unknown, group: String::new() };
        name.meaning = name.guess();
        name
    }

    /// The same under the name of its group: "Conc" above "CH4" is "Conc CH4".
    pub(crate) fn under(&self, group: &str) -> Name {
        let joined = |text: &str| format!("{group} {text}").trim().to_owned();
        Name { text: joined(&self.text), group: group.trim().to_owned(), ..self.clone() }
    }

    /// True where the name belongs to a table of results.
    pub(crate) fn is_result(&self) -> bool {
        let folded = fold(&self.text);
        folded.split(|c: char| !c.is_alphanumeric()).any(|w| RESULT.contains(&w))
    }

    /// The unit as a time unit.
    pub(crate) fn time_unit(&self) -> Option<TimeUnit> {
        self.unit.as_deref().and_then(time_unit)
    }

    fn guess(&self) -> Meaning {
        let folded = fold(&self.base);
        let words: Vec<&str> = folded.split([' ', '_', '-', '/', '.', ',']).filter(|w| !w.is_empty()).collect();
        let any =
            |list: &[&str]| list.contains(&folded.as_str()) || words.iter().any(|w| list.contains(w) && w.len() > 1);
        if INDEX.contains(&folded.as_str()) {
            return Meaning::Index;
        }
        let measures_time = self.time_unit().is_some();
        if any(TIME) && (self.unit.is_none() || measures_time) {
            return Meaning::Time;
        }
        if folded.is_empty() && measures_time {
            return Meaning::Time;
        }
        if (any(SIGNAL) && !measures_time) || self.unit.as_deref().is_some_and(|u| signal_unit(u).is_some()) {
            return Meaning::Signal;
        }
        Meaning::Unknown
    }
}

/// A time unit in the spellings that exports use.
pub(crate) fn time_unit(text: &str) -> Option<TimeUnit> {
    match fold(text).trim_end_matches('.') {
        "min" | "mins" | "minute" | "minutes" | "minuten" | "минуты" | "мин" => Some(TimeUnit::Minutes),
        "s" | "sec" | "secs" | "second" | "seconds" | "sekunde" | "sekunden" | "sek" | "с" | "сек" => {
            Some(TimeUnit::Seconds)
        }
        "ms" | "msec" | "millisecond" | "milliseconds" | "millisekunden" => Some(TimeUnit::Milliseconds),
        "h" | "hour" | "hours" | "stunden" | "std" => Some(TimeUnit::Hours),
        _ => None,
    }
}

/// A signal unit as it is printed, with a step before it kept: `25 uV` is `25 µV`.
pub(crate) fn signal_unit(text: &str) -> Option<String> {
    let text = text.trim().replace('\u{3bc}', "µ");
    let split = text.find(|c: char| c.is_alphabetic() || c == 'µ' || c == '%')?;
    let (step, unit) = (text[..split].trim(), text[split..].trim());
    if !step.is_empty() && step.parse::<f64>().is_err() {
        return None;
    }
    let small = unit.chars().all(|c| !c.is_uppercase());
    let (symbol, _) = SIGNAL_UNITS.iter().find(|(symbol, others)| {
        *symbol == unit || others.contains(&unit) || (small && symbol.to_lowercase() == unit)
    })?;
    Some(if step.is_empty() { (*symbol).to_owned() } else { format!("{step} {symbol}") })
}

/// Lower case, µ as u, single blanks.
pub(crate) fn fold(text: &str) -> String {
    let lower = text.to_lowercase().replace(['µ', '\u{3bc}'], "u");
    lower.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// A name and the unit inside it.
fn take_unit(text: &str) -> (String, Option<String>) {
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
        if let (Some(a), Some(b)) = (text.rfind(open), text.rfind(close))
            && a < b
        {
            let inside = text[a + open.len_utf8()..b].trim();
            let around = format!("{} {}", text[..a].trim(), text[b + close.len_utf8()..].trim());
            let around = around.trim().trim_end_matches(['/', ',', ':']).trim().to_owned();
            // Any short word in brackets is taken as a unit: "Signal (nC)"; longer ones are explanations.
            if known(inside) || (!inside.is_empty() && inside.chars().count() <= 8 && !inside.contains(' ')) {
                return (around, Some(spelled(inside)));
            }
            return (text.to_owned(), None);
        }
    }
    if known(text) && !matches!(fold(text).as_str(), "a" | "v" | "h" | "s" | "au") {
        return (String::new(), Some(spelled(text)));
    }
    // "time/s", "time_min", "Time in min", "Time, min", "signal mV".
    for sign in [" in ", "/", "_", ",", " "] {
        if let Some((base, unit)) = text.rsplit_once(sign) {
            if base.trim().is_empty() || !known(unit) {
                continue;
            }
            // "25 µV" is one unit: a converter's step.
            if let Some((before, step)) = base.trim().rsplit_once(' ')
                && step.parse::<f64>().is_ok()
                && signal_unit(unit).is_some()
            {
                return (before.trim().to_owned(), Some(format!("{step} {}", spelled(unit))));
            }
            return (base.trim().to_owned(), Some(spelled(unit)));
        }
    }
    (text.to_owned(), None)
}

fn known(unit: &str) -> bool {
    time_unit(unit).is_some() || signal_unit(unit).is_some()
}

fn spelled(unit: &str) -> String {
    let unit = unit.trim();
    match time_unit(unit) {
        Some(u) => u.symbol().to_owned(),
        None => signal_unit(unit).unwrap_or_else(|| unit.replace('\u{3bc}', "µ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_as_exports_write_them() {
        for (text, meaning, unit) in [
            ("Zeit (min)", Meaning::Time, Some("min")),
            ("time/s", Meaning::Time, Some("s")),
            ("Time [s]", Meaning::Time, Some("s")),
            ("time_min", Meaning::Time, Some("min")),
            ("time_s", Meaning::Time, Some("s")),
            ("minutes", Meaning::Time, Some("min")),
            ("Minutes", Meaning::Time, Some("min")),
            ("min", Meaning::Time, Some("min")),
            ("RT (min)", Meaning::Time, Some("min")),
            ("Retention time (min)", Meaning::Time, Some("min")),
            ("Retention", Meaning::Time, None),
            ("t/ms", Meaning::Time, Some("ms")),
            ("Time in min", Meaning::Time, Some("min")),
            ("Время (мин)", Meaning::Time, Some("min")),
            ("signal (mV)", Meaning::Signal, Some("mV")),
            ("Response (V)", Meaning::Signal, Some("V")),
            ("Intensity", Meaning::Signal, None),
            ("total_ion_current", Meaning::Signal, None),
            ("FID (uV)", Meaning::Signal, Some("µV")),
            ("FID \u{3bc}V", Meaning::Signal, Some("µV")),
            ("y unit 25 µV", Meaning::Signal, Some("25 µV")),
            ("mV", Meaning::Signal, Some("mV")),
            ("pA", Meaning::Signal, Some("pA")),
            ("counts", Meaning::Signal, Some("counts")),
            ("value", Meaning::Signal, None),
            ("Pressure (kPa)", Meaning::Unknown, Some("kPa")),
            ("step s", Meaning::Unknown, Some("s")),
            ("254", Meaning::Unknown, None),
            ("", Meaning::Unknown, None),
            ("Index", Meaning::Index, None),
            ("Detector (channel 1)", Meaning::Signal, None),
        ] {
            let name = Name::parse(text);
            assert_eq!((name.meaning, name.unit.as_deref()), (meaning, unit), "{text}: {name:?}");
        }
    }

    #[test]
    fn ultraviolet_is_not_microvolt() {
        assert_eq!(signal_unit("UV"), None);
        assert_eq!(signal_unit("uV").as_deref(), Some("µV"));
        assert_eq!(signal_unit("mv").as_deref(), Some("mV"));
        assert_eq!(signal_unit("MV"), None);
    }
}
