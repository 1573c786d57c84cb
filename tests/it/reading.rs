//! Reading: every file of tests/data/reading against the text beside it, real traces bit by bit, and plain properties.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use vialbook::read::{ReadOptions, read_all, read_bytes, read_run};
use vialbook::{Result, Run};

/// One file, one text: what was read, or the error. `UPDATE_EXPECTED=1 cargo test` writes the texts anew; look at
/// each change as if you had typed it.
#[test]
fn every_fixture_reads_as_written_beside_it() {
    let folder = Path::new("tests/data/reading");
    let mut names: Vec<PathBuf> = fs::read_dir(folder).expect("fixtures").map(|e| e.expect("entry").path()).collect();
    names.retain(|p| p.extension().is_some_and(|e| e == "txt"));
    names.sort();
    assert!(names.len() > 100, "only {} fixtures found", names.len());
    let mut wrong = String::new();
    for file in names {
        let options = match fs::read_to_string(file.with_extension("toml")) {
            Ok(text) => toml::from_str(&text).expect("options"),
            Err(_) => ReadOptions::default(),
        };
        let found = describe_all(&file, &options);
        let beside = file.with_extension("expected");
        if std::env::var_os("UPDATE_EXPECTED").is_some() {
            fs::write(&beside, &found).expect("write");
        }
        let expected = fs::read_to_string(&beside).unwrap_or_default();
        if found != expected {
            let _ = writeln!(wrong, "--- {}\nexpected:\n{expected}found:\n{found}", file.display());
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
}

fn describe_all(file: &Path, options: &ReadOptions) -> String {
    let strip = |text: String| text.replace("tests/data/reading/", "");
    match read_run(file, options) {
        Ok(run) => strip(describe(&run)),
        Err(e) => {
            let mut text = format!("{e}\n");
            if e.to_string().contains("read_all") {
                match read_all(file, options) {
                    Ok(runs) => runs.iter().for_each(|r| text.push_str(&describe(r))),
                    Err(e) => text.push_str(&format!("all: {e}\n")),
                }
            }
            strip(text)
        }
    }
}

fn describe(run: &Run) -> String {
    let (n, t) = (&run.provenance.reading, &run.trace);
    let mut text = format!("run \"{}\"", run.name);
    if !n.trace.is_empty() {
        let _ = write!(text, ", trace {}", n.trace);
    }
    let _ = writeln!(text, "\ntext: {}; delimiter {}; decimal {}", n.encoding, n.delimiter, n.decimal_mark);
    let _ = writeln!(text, "above the numbers: {} line(s){}", n.header_rows, show(&n.header));
    let _ = writeln!(text, "time: {}; unit {}; {}", n.time_column, n.time_unit, n.time_axis);
    let _ = writeln!(text, "signal: {}; unit {}", n.signal_column, n.signal_unit);
    let _ = writeln!(
        text,
        "{} points every {:.6} s (spread {:.6}, gaps {}), unit \"{}\"",
        n.points,
        n.interval_s,
        n.interval_spread_s,
        n.gaps,
        t.signal_unit()
    );
    let (time, signal) = (t.time_min(), t.signal());
    for i in [0, 1, time.len() - 1] {
        let _ = writeln!(text, "  {i}: {} min, {}", time[i], signal[i]);
    }
    for line in &n.dropped {
        let _ = writeln!(text, "dropped: {line}");
    }
    for line in &n.suspicions {
        let _ = writeln!(text, "odd: {line}");
    }
    text
}

fn show(lines: &[String]) -> String {
    if lines.is_empty() { String::new() } else { format!(": {}", lines.join(" | ")) }
}

/// Against the text of real files, cell by cell with the standard library's parser.
#[test]
fn real_tidy_tables_read_bit_for_bit_as_written() -> Result<()> {
    let folder = Path::new("tests/data/lc_ri_5level_dup");
    let mut count = 0;
    for entry in fs::read_dir(folder).expect("data") {
        let file = entry.expect("entry").path();
        let name = file.file_name().and_then(|n| n.to_str()).unwrap_or_default().to_owned();
        if !(name.ends_with("_ri.txt") || name.ends_with("_uv210.txt")) {
            continue;
        }
        let run = read_run(&file, &ReadOptions::default())?;
        let text = fs::read_to_string(&file).expect("text");
        let cell = |line: &str, k: usize| -> f64 {
            line.split('\t').nth(k).and_then(|c| c.parse().ok()).expect("a number as written")
        };
        let times: Vec<f64> = text.lines().skip(1).map(|l| cell(l, 0)).collect();
        let signals: Vec<f64> = text.lines().skip(1).map(|l| cell(l, 1)).collect();
        assert!(bits(run.trace.time_min()) == bits(&times) && bits(run.trace.signal()) == bits(&signals), "{name}");
        let note = &run.provenance.reading;
        assert_eq!((note.delimiter.as_str(), note.decimal_mark.as_str(), note.points), ("tab", "point", times.len()));
        assert!(note.time_column.starts_with("\"Minutes\" (column 1)"), "{}", note.time_column);
        assert!(note.signal_column.starts_with("\"Intensity\" (column 2)"), "{}", note.signal_column);
        assert!(note.time_axis.ends_with("as written"), "{}", note.time_axis);
        assert!(run.trace.signal_unit().is_empty() && note.signal_unit == "not stated");
        assert_eq!(run.name, name.trim_end_matches(".txt"));
        count += 1;
    }
    assert_eq!(count, 14, "13 refractive-index traces and an ultraviolet one");
    Ok(())
}

/// Two real axes rounded to 1 ms: one even clock, fitted so that every stamp is within its half digit; one uneven by
/// more than rounding, left as written.
#[test]
fn real_rounded_axes_are_told_apart() -> Result<()> {
    let folder = Path::new("tests/data/gcms_tic");
    for (name, even) in [("jcamp_multiblock_tic.csv", true), ("gasoline_tic.csv", false)] {
        let run = read_run(folder.join(name), &ReadOptions::default())?;
        let text = fs::read_to_string(folder.join(name)).expect("text");
        let stamps: Vec<f64> =
            text.lines().skip(1).map(|l| l.split(',').next().and_then(|c| c.parse().ok()).expect("a stamp")).collect();
        assert_eq!(stamps.len(), run.trace.len());
        assert_eq!(run.provenance.reading.time_axis.contains("one even axis"), even, "{name}");
        for (stamp, minutes) in stamps.iter().zip(run.trace.time_min()) {
            if even {
                assert!((minutes * 60.0 - stamp).abs() <= 0.000_500_1, "{name}: {stamp} s became {} s", minutes * 60.0);
            } else {
                assert!(*minutes == stamp / 60.0, "{name}: {stamp}");
            }
        }
    }
    Ok(())
}

/// The same numbers in every dress: permuted columns, delimiters, decimal marks, encodings, line ends.
#[test]
fn dress_never_changes_a_number() -> Result<()> {
    let mut random = Random(0x2545_F491_4F6C_DD1D);
    for round in 0..60 {
        let n = 20 + random.below(200);
        let (places_t, places_y) = (2 + random.below(4), 1 + random.below(5));
        let step = 1.0 + random.below(40) as f64;
        let digit = 10f64.powi(-(places_t as i32));
        let start = random.below(300) as f64;
        let times: Vec<String> = (0..n).map(|i| format!("{:.places_t$}", (start + step * i as f64) * digit)).collect();
        let signals: Vec<String> =
            (0..n).map(|_| format!("{:.places_y$}", random.below(2_000_000) as f64 / 1e4 - 20.0)).collect();
        let others: Vec<String> = (0..n).map(|_| format!("{:.1}", 40.0 + random.below(90) as f64 / 10.0)).collect();
        let number = |cells: &[String]| -> Vec<f64> { cells.iter().map(|c| c.parse().expect("a number")).collect() };
        let (expected_t, expected_y) = (number(&times), number(&signals));

        let mut columns = vec![("Zeit (min)", &times), ("signal (µV)", &signals), ("oven (°C)", &others)];
        if random.below(2) == 0 {
            columns.pop();
        }
        for i in (1..columns.len()).rev() {
            columns.swap(i, random.below(i + 1));
        }
        for (delimiter, comma) in
            [(",", false), (";", false), (";", true), ("\t", false), ("\t", true), ("  ", true), ("  ", false)]
        {
            let dressed = |c: &str| if comma { c.replace('.', ",") } else { c.to_owned() };
            let end = ["\n", "\r\n", "\r", "\r\r\n"][random.below(4)];
            let mut text = columns.iter().map(|c| c.0).collect::<Vec<_>>().join(delimiter) + end;
            for i in 0..n {
                let row: Vec<String> = columns.iter().map(|c| dressed(&c.1[i])).collect();
                text.push_str(&row.join(delimiter));
                text.push_str(end);
            }
            let encoding = random.below(5);
            let bytes: Vec<u8> = match encoding {
                0 => text.clone().into_bytes(),
                1 => [b"\xef\xbb\xbf", text.as_bytes()].concat(),
                2 => b"\xff\xfe".iter().copied().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect(),
                3 => b"\xfe\xff".iter().copied().chain(text.encode_utf16().flat_map(u16::to_be_bytes)).collect(),
                _ => text.chars().map(|c| u8::try_from(u32::from(c)).expect("Latin-1")).collect(),
            };
            let what = format!(
                "round {round}, delimiter {delimiter:?}, decimal comma {comma}, end {end:?}, encoding {encoding}"
            );
            let run = read_bytes("run.txt", &bytes, &ReadOptions::default())
                .unwrap_or_else(|e| panic!("{what}: {e}\n{text}"));
            assert_eq!(bits(run.trace.time_min()), bits(&expected_t), "times, {what}");
            assert_eq!(bits(run.trace.signal()), bits(&expected_y), "signals, {what}");
            assert_eq!(run.trace.signal_unit(), "µV", "{what}");
        }
    }
    Ok(())
}

/// Two runs of unequal length side by side (in either order), one under the other, and one in clock times, in every dress.
#[test]
fn dress_never_changes_a_number_of_several_runs() -> Result<()> {
    let mut random = Random(0x9E37_79B9_7F4A_7C15);
    for round in 0..40 {
        let runs: Vec<(Vec<String>, Vec<String>)> = (0..2)
            .map(|k| {
                let n = 12 + random.below(60);
                let start = random.below(50);
                let times = (0..n).map(|i| format!("{:.2}", (start + i * (5 + k)) as f64 / 100.0)).collect();
                let signals = (0..n).map(|_| format!("{:.4}", random.below(2_000_000) as f64 / 1e4 - 20.0)).collect();
                (times, signals)
            })
            .collect();
        let number = |cells: &[String]| -> Vec<f64> { cells.iter().map(|c| c.parse().expect("a number")).collect() };
        let rows = runs.iter().map(|r| r.0.len()).max().expect("two runs");
        let order = if random.below(2) == 0 { [0, 1] } else { [1, 0] };
        let clock = |i: usize| format!("{:02}:{:02}:{:02}.{:03}", i / 36_000, i / 600 % 60, i / 10 % 60, i % 10 * 100);
        for (delimiter, comma) in [(",", false), (";", false), (";", true), ("\t", false), ("\t", true), ("|", false)] {
            let dressed = |c: &str| if comma { c.replace('.', ",") } else { c.to_owned() };
            let end = ["\n", "\r\n", "\r", "\r\r\n"][random.below(4)];
            let encoding = random.below(3);
            let bytes = |text: &str| -> Vec<u8> {
                match encoding {
                    0 => text.as_bytes().to_vec(),
                    1 => b"\xff\xfe".iter().copied().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect(),
                    _ => text.chars().map(|c| u8::try_from(u32::from(c)).expect("Latin-1")).collect(),
                }
            };
            let what =
                format!("round {round}, delimiter {delimiter:?}, decimal comma {comma}, end {end:?}, {encoding}");
            let cell = |cells: &[String], i: usize| cells.get(i).map_or(String::new(), |c| dressed(c));

            let mut text = String::new();
            let names = order.map(|k| format!("t{k} (min){delimiter}run {k} (µV)"));
            text.push_str(&(names.join(delimiter) + end));
            for i in 0..rows {
                let cells = order.map(|k| format!("{}{delimiter}{}", cell(&runs[k].0, i), cell(&runs[k].1, i)));
                text.push_str(&(cells.join(delimiter) + end));
            }
            let found = all_of(&bytes(&text), &what)?;
            assert_eq!(found.len(), 2, "{what}");
            for (run, k) in found.iter().zip(order) {
                assert_eq!(run.name, format!("run run {k}"), "{what}");
                assert_eq!(bits(run.trace.time_min()), bits(&number(&runs[k].0)), "times, {what}");
                assert_eq!(bits(run.trace.signal()), bits(&number(&runs[k].1)), "signals, {what}");
            }

            let counts = order.map(|k| runs[k].0.len().to_string()).join(delimiter);
            let mut text = format!("points{delimiter}{counts}{end}unit{delimiter}µV{delimiter}mV{end}");
            text.push_str(&format!("rate{delimiter}10{delimiter}Hz{end}"));
            order.iter().flat_map(|k| &runs[*k].1).for_each(|c| text.push_str(&(dressed(c) + end)));
            // "1,2" alone in a row is one number or two: the mark must be said.
            if !comma {
                let found = all_of(&bytes(&text), &what)?;
                for ((run, k), unit) in found.iter().zip(order).zip(["µV", "mV"]) {
                    assert_eq!(bits(run.trace.signal()), bits(&number(&runs[k].1)), "stacked, {what}");
                    assert!((run.trace.interval_min() * 600.0 - 1.0).abs() < 1e-12, "{what}");
                    assert_eq!(run.trace.signal_unit(), unit, "{what}");
                }
            }

            let mut text = format!("signal (µV){delimiter}clock{end}");
            let from = 360_000 + random.below(300_000);
            for (i, c) in runs[0].1.iter().enumerate() {
                text.push_str(&format!("{}{delimiter}{}{end}", dressed(c), dressed(&clock(from + i))));
            }
            let run = &all_of(&bytes(&text), &what)?[0];
            assert_eq!(bits(run.trace.signal()), bits(&number(&runs[0].1)), "beside a clock, {what}");
            for (i, t) in run.trace.time_min().iter().enumerate() {
                assert!((t * 600.0 - i as f64).abs() < 1e-6, "clock, {what}");
            }
        }
    }
    Ok(())
}

fn all_of(bytes: &[u8], what: &str) -> Result<Vec<Run>> {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("run.txt");
    fs::write(&file, bytes).expect("written");
    Ok(read_all(&file, &ReadOptions::default())
        .unwrap_or_else(|e| panic!("{what}: {e}\n{}", String::from_utf8_lossy(bytes))))
}

/// Mutilated files end in a trace or in a sentence that names the file; never in a panic, never in a value that is
/// not finite.
#[test]
fn mutilated_files_never_panic() {
    let mut random = Random(7);
    let mut files: Vec<PathBuf> =
        fs::read_dir("tests/data/reading").expect("fixtures").map(|e| e.expect("entry").path()).collect();
    files.retain(|p| p.extension().is_some_and(|e| e == "txt"));
    files.sort();
    let alphabet = b"0123456789.,;:\t \r\n\"-+eEdD#=|xn\xb5\xc2\x00\xff";
    for file in files {
        let original = fs::read(&file).expect("bytes");
        for _ in 0..40 {
            let mut bytes = original.clone();
            for _ in 0..1 + random.below(6) {
                let at = random.below(bytes.len() + 1);
                match random.below(3) {
                    0 => bytes.insert(at, alphabet[random.below(alphabet.len())]),
                    1 if at < bytes.len() => bytes[at] = alphabet[random.below(alphabet.len())],
                    2 if at < bytes.len() => drop(bytes.drain(at..(at + 1 + random.below(9)).min(bytes.len()))),
                    _ => {}
                }
            }
            match read_bytes("mutilated.txt", &bytes, &ReadOptions::default()) {
                Ok(run) => assert!(run.trace.signal().iter().chain(run.trace.time_min()).all(|v| v.is_finite())),
                Err(e) => assert!(e.to_string().starts_with("mutilated.txt"), "{e}"),
            }
        }
    }
}

fn bits(values: &[f64]) -> Vec<u64> {
    values.iter().map(|v| (v + 0.0).to_bits()).collect()
}

/// xorshift64 (G. Marsaglia, J. Stat. Softw. 8(14) (2003) 1-6): seeded, for test input only.
struct Random(u64);

impl Random {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % n as u64) as usize
    }
}
