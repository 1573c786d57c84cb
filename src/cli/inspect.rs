//! `vialbook inspect`: what a trace file holds, in words or as JSON.

use std::fmt::Write as _;

use serde::Serialize;

use crate::error::{Error, ErrorKind, Result};
use crate::estimate::significant;
use crate::peaks::{Detect, PeakList};
use crate::read::{ReadOptions, read_run};
use crate::results::Severity;
use crate::trace::Run;

#[derive(Serialize)]
struct Inspected {
    file: String,
    sha256: String,
    reading: crate::trace::ReadingNote,
    first_min: f64,
    last_min: f64,
    signal_range: [f64; 2],
    peaks: PeakList,
}

pub(super) fn run(args: &super::InspectArgs) -> Result<Severity> {
    let options = read_options(args)?;
    let mut progress = super::progress::Progress::start();
    let mut all = Vec::new();
    for file in &args.files {
        progress.say(&format!("reading {}", file.display()));
        let run = read_run(file, &options)?;
        let peaks = run.find_peaks(&Detect::default())?;
        all.push(inspected(file.display().to_string(), &run, peaks));
    }
    drop(progress);
    if args.json {
        let text = serde_json::to_string_pretty(&all)
            .map_err(|e| Error::new(ErrorKind::Data, "the inspection cannot be written as JSON").because(e))?;
        super::output::data(&(text + "\n"))?;
    } else {
        super::output::data(&all.iter().map(words).collect::<String>())?;
    }
    Ok(Severity::Pass)
}

/// The options as study.toml's `[reading]` would state them: one parser for both doors.
fn read_options(args: &super::InspectArgs) -> Result<ReadOptions> {
    let mut table = toml::Table::new();
    let named = [
        ("time_unit", &args.time_unit),
        ("time_column", &args.time_column),
        ("signal_column", &args.signal_column),
        ("delimiter", &args.delimiter),
        ("decimal_mark", &args.decimal_mark),
    ];
    for (key, value) in named {
        if let Some(value) = value {
            // A column may be named by its number.
            let number = value.parse::<i64>().ok().filter(|_| key.ends_with("_column"));
            let value = number.map_or_else(|| toml::Value::String(value.clone()), toml::Value::Integer);
            table.insert(key.to_owned(), value);
        }
    }
    for pair in &args.set {
        let (key, value) = pair.split_once('=').ok_or_else(|| {
            Error::new(ErrorKind::Option, format!("--set \"{pair}\" has no ="))
                .hint("write --set KEY=VALUE, such as --set interval_s=0.1")
        })?;
        let value = value
            .parse::<i64>()
            .map(toml::Value::Integer)
            .or_else(|_| value.parse::<f64>().map(toml::Value::Float))
            .ok()
            .or_else(|| list(value))
            .unwrap_or_else(|| toml::Value::String(value.to_owned()));
        table.insert(key.trim().to_owned(), value);
    }
    table.try_into().map_err(|e: toml::de::Error| {
        Error::new(ErrorKind::Option, format!("reading options: {}", e.message().trim_end().replace('\n', "; ")))
    })
}

/// `[600, 600]`
fn list(value: &str) -> Option<toml::Value> {
    let inside = value.trim().strip_prefix('[')?.strip_suffix(']')?;
    let numbers: Option<Vec<toml::Value>> =
        inside.split(',').map(|v| v.trim().parse().ok().map(toml::Value::Integer)).collect();
    numbers.map(toml::Value::Array)
}

fn inspected(file: String, run: &Run, peaks: PeakList) -> Inspected {
    let (time, signal) = (run.trace.time_min(), run.trace.signal());
    let range = signal.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], &y| [a.min(y), b.max(y)]);
    Inspected {
        file,
        sha256: run.provenance.sha256.clone(),
        reading: run.provenance.reading.clone(),
        first_min: time[0],
        last_min: time[time.len() - 1],
        signal_range: range,
        peaks,
    }
}

fn words(i: &Inspected) -> String {
    let mut text = String::new();
    let r = &i.reading;
    let unit = if i.peaks.signal_unit.is_empty() { "(unit not stated)" } else { &i.peaks.signal_unit };
    let _ = writeln!(text, "{}", super::analyse::clean(&i.file));
    let _ = write!(text, "  format      {}, {}", r.format, r.encoding);
    // Binary formats and workbooks have cells of their own.
    let _ = match r.delimiter.starts_with("none (cells)") || r.delimiter == "none" {
        true => writeln!(text),
        false => writeln!(text, ", {} between cells, decimal {}", r.delimiter, r.decimal_mark),
    };
    let _ = writeln!(text, "  header      {} row(s)", r.header_rows);
    if !r.trace.is_empty() {
        let _ = writeln!(text, "  trace       {}", super::analyse::clean(&r.trace));
    }
    let _ = writeln!(
        text,
        "  time        {}; unit {}; {}",
        super::analyse::clean(&r.time_column),
        super::analyse::clean(&r.time_unit),
        super::analyse::clean(&r.time_axis)
    );
    let _ = writeln!(
        text,
        "  signal      {}; unit {}",
        super::analyse::clean(&r.signal_column),
        super::analyse::clean(&r.signal_unit)
    );
    let _ = writeln!(
        text,
        "  points      {} from {:.4} to {:.4} min, every {:.4} s (deviates by at most {:.4} s), {} gap(s)",
        r.points, i.first_min, i.last_min, r.interval_s, r.interval_spread_s, r.gaps
    );
    let _ = writeln!(text, "  range       {} to {} {unit}", i.signal_range[0], i.signal_range[1]);
    let noise = &i.peaks.noise;
    let _ = writeln!(
        text,
        "  noise       standard deviation {} {unit}, correlation of neighbours {:.2}, from {} points{}",
        significant(noise.sd, 3),
        noise.autocorrelation,
        noise.points,
        if noise.is_floor { " (set by the converter's step)" } else { "" }
    );
    let _ = writeln!(text, "  sha-256     {}", i.sha256);
    for line in r.dropped.iter().chain(&r.suspicions) {
        let _ = writeln!(text, "  note        {}", super::analyse::clean(line));
    }
    let _ = writeln!(text, "  peaks       {}", i.peaks.peaks.len());
    if !i.peaks.peaks.is_empty() {
        let _ = writeln!(
            text,
            "    {:>9}  {:>9}  {:>9}  {:>12}  {:>10}  {:>10}  {:>9}",
            "time/min", "start/min", "end/min", "area", "u(area)", "height", "width/s"
        );
    }
    for p in &i.peaks.peaks {
        let width = p.width_half_min.map_or("-".to_owned(), |w| format!("{:.2}", w * 60.0));
        let _ = writeln!(
            text,
            "    {:>9.4}  {:>9.4}  {:>9.4}  {:>12.5}  {:>10.5}  {:>10.4}  {:>9}",
            p.retention_time_min, p.start_min, p.end_min, p.area, p.area_u, p.height, width
        );
        for note in &p.notes {
            let _ = writeln!(text, "      {note}");
        }
    }
    text
}
