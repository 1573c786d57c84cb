//! Open formats and spreadsheets: files written by others, against their own tables and against general libraries.

use std::fs;
use std::path::{Path, PathBuf};

use vialbook::read::{
    ReadOptions, TimeUnit, netcdf_bytes, read_all, read_bytes, read_peak_table, read_peak_table_bytes, read_run,
    write_netcdf,
};
use vialbook::study::read_log_bytes;
use vialbook::trace::Provenance;
use vialbook::{Detect, ErrorKind, PeakNote, Result, Run, Study, StudyConfig, Trace};

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data").join(name)
}

fn seconds() -> ReadOptions {
    ReadOptions { time_unit: Some(TimeUnit::Seconds), ..ReadOptions::default() }
}

fn bits(values: &[f64]) -> Vec<u64> {
    values.iter().map(|v| v.to_bits()).collect()
}

/// The file's own peak table: areas above the file's own straight baselines.
#[test]
fn areas_of_an_interchange_file_as_it_tables_them() -> Result<()> {
    let file = data("lc_uv_andi/lc_uv_8peaks.cdf");
    let run = read_run(&file, &ReadOptions::default())?;
    let note = &run.provenance.reading;
    assert_eq!((note.format.as_str(), note.points, run.trace.signal_unit()), ("ASTM E1947 netCDF-3", 4651, "mAU"));
    assert!(note.time_unit.starts_with("s, from retention_unit"), "{}", note.time_unit);
    assert!(note.signal_unit.contains("detector_unit"), "{}", note.signal_unit);
    assert!(note.header.iter().any(|l| l == "separation_experiment_type = liquid chromatography"), "{:?}", note.header);
    assert!((run.trace.time_min()[4650] * 60.0 - 1860.012).abs() < 1e-9);
    // 1.1 times the trace's largest value: a range that nothing reaches.
    assert!(run.trace.full_scale().is_some_and(|f| (f - 130.926).abs() < 1e-3) && note.suspicions.is_empty());

    let peaks = read_peak_table(&file)?;
    assert_eq!(peaks.len(), 8);
    let (time, signal) = (run.trace.time_min(), run.trace.signal());
    for p in &peaks {
        let [[t0, y0], [t1, y1]] = p.baseline.expect("a baseline");
        let above = |i: usize| signal[i] - (y0 + (y1 - y0) * (time[i] - t0) / (t1 - t0));
        let half = run.trace.interval_min() / 2.0;
        let (a, b) = (
            run.trace.index_at(p.start_min.expect("a start") - half),
            run.trace.index_at(p.end_min.expect("an end") - half),
        );
        let area: f64 = (a..b).map(|i| (above(i) + above(i + 1)) / 2.0 * (time[i + 1] - time[i])).sum();
        let off = (area / p.area.expect("an area") - 1.0).abs();
        // The split of the fused pair lies between samples; tests/data/lc_uv_andi/ORIGIN.txt.
        let allowed = match p.number {
            4 => 1e-3,
            5 => 1.5e-2,
            _ => 1e-5,
        };
        assert!(off < allowed, "peak {}: {area} against {:?}, off by {off:.1e}", p.number, p.area);
        assert!((p.unit_factor - 1.0).abs() < 1e-12 && p.name.is_none());
        // Apex height against the trace.
        let i = run.trace.index_at(p.retention_min);
        let height = p.height.expect("a height");
        assert!((above(i).max(above(i - 1)) / height - 1.0).abs() < 0.01, "peak {}", p.number);
    }
    Ok(())
}

/// n-C17 and pristane, n-C18 and phytane of a crude oil, against the file's own table.
#[test]
fn a_crude_oil_reads_whole_and_its_pairs_are_found() -> Result<()> {
    let file = data("gc_fid_crude_oil/oil_002.cdf");
    let run = read_run(&file, &ReadOptions::default())?;
    let note = &run.provenance.reading;
    let (time, signal) = (run.trace.time_min(), run.trace.signal());
    assert_eq!((time.len(), run.trace.signal_unit(), run.trace.full_scale()), (53_543, "V", Some(10.0)));
    // 0.1 as 4 bytes is 0.100000001; multiplied by 53,542 that would be 0.08 ms too late.
    assert!((time[53_542] * 60.0 - 5354.2).abs() < 1e-9, "{}", time[53_542] * 60.0);
    assert!(note.time_unit.contains("time in seconds") && note.time_axis.contains("step 0.1 s"), "{note:?}");
    assert!(note.suspicions.iter().any(|s| s.contains("beyond the detector's stated range")), "{:?}", note.suspicions);

    let table = read_peak_table(&file)?;
    assert_eq!(table.len(), 975);
    // The trace is in V, the table in µV.
    assert!((table[0].unit_factor - 1e-6).abs() < 1e-18 && table[0].width_min.is_none() && table[0].name.is_none());
    let tabled = |s: f64| {
        let off = |p: &&vialbook::read::TabledPeak| (p.retention_min - s / 60.0).abs();
        table.iter().min_by(|a, b| off(a).total_cmp(&off(b))).expect("a table")
    };
    let list = run.find_peaks(&Detect::default())?;
    let found = |s: f64| list.nearest(s / 60.0).expect("peaks");
    // Times of the pairs: tests/data/gc_fid_crude_oil/ORIGIN.txt.
    for pair in [[1565.67, 1578.64], [1705.77, 1723.09]] {
        // The table's areas stand on a straight baseline far below the valleys, on which find_peaks sets its own: the
        // signal at each apex less the tabled height gives the level. From valley to valley between tabled neighbours.
        let level = pair.map(|s| {
            let i = run.trace.index_at(tabled(s).retention_min);
            signal[i - 1].max(signal[i]) - tabled(s).height.expect("a height")
        });
        let area = pair.map(|s| {
            let p = found(s);
            assert!((p.retention_time_min * 60.0 - s).abs() < 0.5, "{s} s: {} s", p.retention_time_min * 60.0);
            let k = tabled(s).number - 1;
            let [before, apex, behind] = [k - 1, k, k + 1].map(|k| run.trace.index_at(table[k].retention_min));
            // The mean of 17 points, 1.6 s beside peaks 4 s wide: the noise does not choose the valley.
            let smooth = |i: usize| signal[i - 8..=i + 8].iter().sum::<f64>();
            let lowest = |a: usize, b: usize| (a..b).min_by(|&a, &b| smooth(a).total_cmp(&smooth(b))).expect("points");
            let slope = (level[1] - level[0]) / ((pair[1] - pair[0]) / 60.0);
            let above = |i: usize| signal[i] - (level[0] + slope * (time[i] - pair[0] / 60.0));
            (lowest(before, apex)..lowest(apex, behind))
                .map(|i| (above(i) + above(i + 1)) / 2.0 * (time[i + 1] - time[i]))
                .sum::<f64>()
        });
        let of_table = pair.map(|s| tabled(s).area.expect("an area"));
        let ratio = (area[0] / area[1]) / (of_table[0] / of_table[1]);
        assert!((ratio - 1.0).abs() < 0.03, "{pair:?}: ratio of ratios {ratio}, {area:?}, {of_table:?}");
    }
    let solvent = list.peaks.iter().max_by(|a, b| a.height.total_cmp(&b.height)).expect("peaks");
    assert!(solvent.notes.iter().any(|n| matches!(n, PeakNote::BeyondFullScale(_))), "{:?}", solvent.notes);
    Ok(())
}

#[test]
fn records_and_wide_offsets_as_another_library_writes_them() -> Result<()> {
    let run = read_run(data("formats/records_64bit.cdf"), &ReadOptions::default())?;
    let expected: Vec<f64> = (0..50).map(|i| f64::from(i * i - 600)).collect();
    assert_eq!(run.trace.signal(), expected);
    for (i, t) in run.trace.time_min().iter().enumerate() {
        assert!((t - (i as f64).powf(1.5) / 60.0).abs() < 1e-12);
    }
    assert_eq!(run.trace.signal_unit(), "µV");
    let both = ReadOptions { trace: Some("b".into()), ..seconds() };
    let run = read_run(data("formats/records_64bit.cdf"), &both)?;
    assert!((run.trace.time_min()[1] - 1.0 / 3600.0).abs() < 1e-15, "the option comes first");
    let none = ReadOptions { trace: Some(2.into()), ..ReadOptions::default() };
    assert_eq!(read_run(data("formats/records_64bit.cdf"), &none).expect_err("one trace").kind(), ErrorKind::NotFound);
    Ok(())
}

#[test]
fn what_is_written_reads_back_bit_for_bit() -> Result<()> {
    let folder = tempfile::tempdir().expect("a folder");
    let mut random = Random(11);
    let uneven = |random: &mut Random, n: usize| -> Vec<f64> {
        let mut t = 0.1;
        (0..n)
            .map(|_| {
                t += 0.001 + random.below(1_000_000) as f64 / 3e8;
                t
            })
            .collect()
    };
    for (k, n) in [2, 3, 500, 12_000].into_iter().enumerate() {
        let times = [
            (0..n).map(|i| i as f64 / 600.0).collect::<Vec<f64>>(),
            (0..n).map(|i| (0.012 + i as f64 * 0.4) / 60.0).collect(),
            (0..n).map(|i| i as f64 * 0.001).collect(),
            uneven(&mut random, n),
        ];
        for (m, time) in times.into_iter().enumerate() {
            let signal: Vec<f64> = (0..n).map(|_| (random.below(1 << 50) as f64 - 5e14) / 3e11).collect();
            let full_scale = if m == 1 { Some(2.5e300) } else { None };
            let trace = Trace::new(time, signal, ["mV", "", "µV"][k % 3])?.with_detector_limits(None, full_scale);
            let run = Run { name: "Lauf «7»".into(), trace, provenance: Provenance::default() };
            let path = folder.path().join(format!("{k}-{m}.cdf"));
            write_netcdf(&run, &path)?;
            let back = read_run(&path, &ReadOptions::default())?;
            assert_eq!(bits(back.trace.time_min()), bits(run.trace.time_min()), "times {k}, {m}");
            assert_eq!(bits(back.trace.signal()), bits(run.trace.signal()), "signal {k}, {m}");
            assert_eq!((back.trace.signal_unit(), back.trace.full_scale()), (run.trace.signal_unit(), full_scale));
            // An axis of delay and interval needs no list of times.
            if m == 1 {
                let bytes = fs::metadata(&path).expect("a file").len() as usize;
                assert!(bytes < 8 * n + 2000, "{bytes} bytes for {n} points");
            }
        }
    }
    assert!(
        write_netcdf(
            &read_run(data("formats/records_64bit.cdf"), &ReadOptions::default())?,
            folder.path().join("no/such/x.cdf")
        )
        .is_err()
    );
    Ok(())
}

#[test]
fn damaged_interchange_files_say_where() {
    let whole = fs::read(data("lc_uv_andi/lc_uv_8peaks.cdf")).expect("data");
    for cut in [40, 500, 2300, 3000, 15_000] {
        let e = read_bytes("cut.cdf", &whole[..cut], &ReadOptions::default()).expect_err("cut off").to_string();
        assert!(e.starts_with("cut.cdf: ") && e.contains("export it again"), "{cut}: {e}");
    }
    // A length of 2³² − 1 in place of the number of dimensions.
    let mut huge = whole.clone();
    huge[12..16].fill(255);
    assert!(
        read_bytes("huge.cdf", &huge, &ReadOptions::default())
            .expect_err("damaged")
            .to_string()
            .contains("damaged at byte")
    );
    let mut other = whole;
    let at = other.windows(8).position(|w| w == b"seconds\0").expect("the unit");
    other[at..at + 7].copy_from_slice(b"squalls");
    let e = read_bytes("unit.cdf", &other, &ReadOptions::default()).expect_err("no unit of time");
    assert_eq!(e.kind(), ErrorKind::Ambiguous);
    assert!(read_bytes("unit.cdf", &other, &seconds()).is_ok());
}

/// The same numbers in four forms, by four writers' rules: they agree where they overlap.
#[test]
fn four_forms_of_the_same_numbers() -> Result<()> {
    let read = |name: &str| read_run(data("jcamp").join(name), &seconds());
    let fix = read("xydata_fix.dx")?;
    assert!(fix.provenance.reading.suspicions.iter().any(|s| s.contains("X falls")));
    // As the FIX file prints them, in falling X.
    let expected = [-10247.0, 1201.0, -5196.0, 7245.0, -5777.0, 5015.0, -8583.0, -3100.0];
    let falling = |run: &Run| run.trace.signal().iter().rev().copied().collect::<Vec<f64>>();
    assert_eq!(falling(&fix), expected);
    let (pac, sqz, dif) = (read("xydata_packed.dx")?, read("xydata_squeezed.dx")?, read("xydata_difdup.dx")?);
    assert_eq!(falling(&pac)[..8], expected);
    let n = falling(&pac).len().min(falling(&sqz).len());
    assert_eq!(n, 30);
    assert_eq!(falling(&pac)[..n], falling(&sqz)[..n]);
    let n = falling(&dif).len();
    assert!(n >= 25, "{n} points");
    let same = falling(&dif).iter().zip(&falling(&sqz)).take_while(|(a, b)| a == b).count();
    assert!(same >= 25, "{same} of {n} agree");
    // X of the first point, from FIRSTX, and every step, from DELTAX.
    for run in [&fix, &pac, &sqz, &dif] {
        let time = run.trace.time_min();
        assert!((time[time.len() - 1] * 60.0 - 5592.84116331095).abs() < 1e-9);
        assert!((run.trace.interval_min() * 60.0 - 0.341380770512785).abs() < 1e-9);
    }
    let e = read_run(data("jcamp/xydata_fix.dx"), &ReadOptions::default()).expect_err("no unit");
    assert_eq!((e.kind(), e.line()), (ErrorKind::Ambiguous, Some(6)));
    Ok(())
}

#[test]
fn a_chromatogram_as_pairs() -> Result<()> {
    let run = read_run(data("jcamp/lc_xypoints.jdx"), &ReadOptions::default())?;
    let note = &run.provenance.reading;
    assert_eq!((run.trace.len(), run.trace.signal_unit(), note.header_rows), (101, "mAU", 15));
    assert_eq!((run.trace.time_min()[100], run.trace.signal()[50]), (10.0, 100.0));
    assert!(note.time_unit.starts_with("min, from line") && note.suspicions.is_empty(), "{note:?}");
    assert!(note.header.iter().any(|l| l == "TITLE = HPLC test chromatogram"));
    Ok(())
}

const BLOCKS: &str = "##TITLE= both\n##DATA TYPE= LINK\n##BLOCKS= 2\n\
    ##TITLE= front\n##XUNITS= SECONDS\n##yunits= uV\n##NPOINTS= 3\n##FIRSTY= 1.0\n##LASTY= 9\n##XYPOINTS=(XY..XY)\n0.0, 1.0; 0.5, 2.0\n1.0 1.5\n##END=\n\
    ##TITLE= back\n##X UNITS= TIME IN MINUTES\n##FIRSTX=0\n##LASTX=4\n##NPOINTS=5\n##YFACTOR=0.5\n##XYDATA= (X++(Y..Y)) $$ here\n0 1E+01 20\n2+30 40 50\n##END=\n\
    ##TITLE= peaks\n##XUNITS=S\n##YUNITS=uV\n##PEAK TABLE=(XYW..XYW)\n60, 5, 6\n120, 7, 0\n##END=\n##END=\n";

#[test]
fn blocks_factors_and_peak_tables() -> Result<()> {
    let all = ReadOptions::default();
    let e = read_bytes("two.jdx", BLOCKS.as_bytes(), &all).expect_err("two traces");
    assert_eq!((e.kind(), e.line()), (ErrorKind::Ambiguous, Some(20)));
    assert!(e.to_string().contains("1 = \"front\", 2 = \"back\"") && e.to_string().contains("option trace"), "{e}");
    let chosen = ReadOptions { trace: Some("back".into()), ..all.clone() };
    let back = read_bytes("two.jdx", BLOCKS.as_bytes(), &chosen)?;
    assert_eq!(back.name, "two back");
    assert_eq!(
        (back.trace.time_min(), back.trace.signal()),
        (&[0.0, 1.0, 2.0, 3.0, 4.0][..], &[5.0, 10.0, 15.0, 20.0, 25.0][..])
    );
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("two.jdx");
    fs::write(&path, BLOCKS.replace('\n', "\r\n")).expect("written");
    let both = read_all(&path, &all)?;
    assert_eq!((both.len(), both[0].name.as_str(), both[0].trace.signal()), (2, "two front", &[1.0, 2.0, 1.5][..]));
    assert_eq!(both[0].trace.signal_unit(), "µV");
    // LASTY 9 is not what was read; said with its line.
    let doubts = &both[0].provenance.reading.suspicions;
    assert!(doubts.iter().any(|s| s.contains("line 9 states LASTY 9, but 1.5 was read")), "{doubts:?}");
    let peaks = read_peak_table_bytes("two.jdx", BLOCKS.as_bytes(), &all)?;
    assert_eq!(
        (peaks.len(), peaks[0].retention_min, peaks[0].height, peaks[0].width_min),
        (2, 1.0, Some(5.0), Some(0.1))
    );
    assert_eq!(peaks[1].width_min, None);
    let front = ReadOptions { trace: Some(1.into()), ..all };
    let run = read_bytes("two.jdx", BLOCKS.replace("##NPOINTS= 3", "##NPOINTS= 4").as_bytes(), &front)?;
    let doubts = &run.provenance.reading.suspicions;
    assert!(doubts.iter().any(|s| s.starts_with("line 7 states NPOINTS 4, but 3 was read")), "{doubts:?}");
    Ok(())
}

#[test]
fn damaged_jcamp_files_say_where() {
    let difdup = fs::read_to_string(data("jcamp/xydata_difdup.dx")).expect("data");
    for (text, line, words) in [
        // One digit of a difference changed: the check on the next line fails there.
        (difdup.replace("J2441", "J2442"), Some(8), "the Y check fails"),
        (difdup.replace("f620", "@620"), Some(8), "the Y check fails"),
        (difdup.replace("a0247", "J0247"), Some(7), "without a value before it"),
        (difdup.replace("N038", "?"), Some(8), "missing"),
        (difdup.replace("j498", "~j498"), Some(8), "is not a number"),
        (difdup.replace("(X++(Y..Y))", "(X++(R..R))"), Some(6), "states the form"),
        (difdup.replace("##XYDATA", "##NTUPLES"), Some(6), "NTUPLES"),
        (difdup.replace("DELTAX= -0.34", "DELTAX= x"), Some(3), "DELTAX is \"x"),
        ("##TITLE=a\n##XUNITS=s\n##XYPOINTS=(XY..XY)\n0,1\n1,2,3\n##END=\n".into(), Some(5), "groups of 2"),
        ("##TITLE=a\n##XUNITS=s\n##XYPOINTS=(XY..XY)\n0,1\n2,2\n1,3\n3,1\n##END=\n".into(), Some(6), "goes back"),
        ("##TITLE=a\n##XUNITS=1/CM\n##XYPOINTS=(XY..XY)\n0,1\n2,2\n##END=\n".into(), None, "is_ambiguous"),
        ("##TITLE=a\n##XUNITS=s\n##XYDATA=(X++(Y..Y))\n0@s99999999999\n##END=\n".into(), Some(4), "not believed"),
        ("##TITLE=a\n##XUNITS=s\n##PEAK TABLE=(XY..XY)\n0,1\n##END=\n".into(), Some(3), "read_peak_table"),
        ("##TITLE=a\n##END=\n".into(), None, "no trace"),
    ] {
        let options = if text.contains("1/CM") { ReadOptions::default() } else { seconds() };
        let e = read_bytes("bad.dx", text.as_bytes(), &options).expect_err(words);
        if words == "is_ambiguous" {
            assert_eq!(e.kind(), ErrorKind::Ambiguous);
            continue;
        }
        assert!(e.to_string().starts_with("bad.dx") && e.to_string().contains(words), "{words}: {e}");
        assert_eq!(e.line(), line, "{e}");
    }
}

/// The values that tests/data/formats/make.py put into its files.
fn fixture_values() -> (Vec<f64>, Vec<f64>) {
    let places = |v: f64| -> f64 { format!("{v:.12}").parse().expect("a number") };
    (0..60).map(|i| (places(f64::from(i) / 120.0), places(f64::from(i).sin() / 3.0))).unzip()
}

#[test]
fn spreadsheets_read_to_the_last_bit() -> Result<()> {
    for (file, format) in [("trace.xlsx", ".xlsx"), ("trace.ods", ".ods")] {
        let run = read_run(data("formats").join(file), &ReadOptions::default())?;
        let (time, signal) = fixture_values();
        assert_eq!(bits(run.trace.time_min()), bits(&time), "{file}");
        assert_eq!(bits(run.trace.signal()), bits(&signal), "{file}");
        let note = &run.provenance.reading;
        assert_eq!(note.format, format!("spreadsheet ({format}), sheet \"Data\""));
        assert_eq!((note.header_rows, note.points, run.trace.signal_unit()), (4, 60, "mV"), "{file}");
        assert!(note.time_column.starts_with("\"Time (min)\" (column 1)"), "{}", note.time_column);
        assert!(note.header.iter().any(|l| l.contains("2026-01-31")), "{:?}", note.header);
        let said = note.suspicions.join("; ");
        assert!(
            said.contains("hidden sheets were left aside: \"Old\"") && said.contains("1 cells hold formulas"),
            "{said}"
        );
    }
    let hidden = ReadOptions {
        sheet: Some("old".into()),
        interval_s: Some(0.5),
        signal_column: Some(2.into()),
        ..ReadOptions::default()
    };
    let run = read_run(data("formats/trace.xlsx"), &hidden)?;
    assert_eq!(run.trace.signal()[29], -29.0, "the option reaches hidden sheets too");
    Ok(())
}

#[test]
fn dates_and_clock_times_of_a_spreadsheet_are_times() -> Result<()> {
    let (_, signal) = fixture_values();
    for file in ["dates.xlsx", "dates.ods"] {
        for sheet in ["stamp", "clock", "elapsed"] {
            let options = ReadOptions { sheet: Some(sheet.into()), ..ReadOptions::default() };
            let run = read_run(data("formats").join(file), &options)?;
            assert_eq!(bits(run.trace.signal()), bits(&signal[..12]), "{file}, {sheet}");
            for (i, t) in run.trace.time_min().iter().enumerate() {
                assert!((t * 60.0 - 0.5 * i as f64).abs() < 1e-9, "{file}, {sheet}, {i}: {} s", t * 60.0);
            }
            let note = &run.provenance.reading;
            assert!(note.time_unit.starts_with("s, from clock times"), "{file}, {sheet}: {}", note.time_unit);
            let midnight = note.time_unit.contains("the clock passed midnight");
            assert_eq!(midnight, sheet == "stamp", "{file}, {sheet}: {}", note.time_unit);
            assert!(note.suspicions.iter().any(|s| s.starts_with("12 cells hold dates or times")), "{note:?}");
        }
    }
    Ok(())
}

#[test]
fn spreadsheets_that_cannot_be_read_say_why() {
    let e = read_run(data("formats/formula_without_value.xlsx"), &ReadOptions::default()).expect_err("no value");
    assert!(e.to_string().contains("formula without a stored value: SIN(5)/3"), "{e}");
    assert_eq!((e.line(), e.column()), (Some(10), Some(2)), "{e}");
    for file in ["far_cells.xlsx", "far_corner.xlsx", "repeated.ods"] {
        let e = read_run(data("formats").join(file), &seconds()).expect_err(file).to_string();
        assert!(e.contains("spans more than"), "{e}");
    }
    let wanted = ReadOptions { sheet: Some("Daten".into()), ..ReadOptions::default() };
    let e = read_run(data("formats/trace.xlsx"), &wanted).expect_err("no such sheet").to_string();
    assert!(e.contains("sheets: 1 = \"Old\", 2 = \"About\", 3 = \"Data\""), "{e}");
    let whole = fs::read(data("formats/trace.xlsx")).expect("data");
    let e = read_bytes("cut.xlsx", &whole[..4000], &ReadOptions::default()).expect_err("cut off").to_string();
    assert!(e.starts_with("cut.xlsx: this spreadsheet cannot be opened"), "{e}");
}

#[test]
fn injection_logs_in_spreadsheets() -> Result<()> {
    let folder = tempfile::tempdir().expect("a folder");
    fs::create_dir(folder.path().join("traces")).expect("traces");
    for entry in fs::read_dir(data("lc_ri_5level_dup")).expect("data").flatten() {
        fs::copy(entry.path(), folder.path().join("traces").join(entry.file_name())).expect("copied");
    }
    let put = |name: &str, from: &str| fs::copy(data(from), folder.path().join(name)).expect("copied");
    put("study.toml", "lc_ri_study/study.toml");
    put("injections.csv", "lc_ri_study/injections.csv");
    let text = Study::open(folder.path())?;
    for name in ["injections.xlsx", "injections.ods"] {
        put(name, &format!("formats/{name}"));
        let e = Study::open(folder.path()).expect_err("two logs");
        assert_eq!(e.kind(), ErrorKind::Ambiguous);
        assert!(e.to_string().contains(&format!("injections.csv and {name}")), "{e}");
        fs::remove_file(folder.path().join("injections.csv")).expect("removed");
        let sheet = Study::open(folder.path())?;
        assert_eq!((sheet.injections(), sheet.log_name()), (text.injections(), name));
        fs::remove_file(folder.path().join(name)).expect("removed");
        put("injections.csv", "lc_ri_study/injections.csv");
    }
    Ok(())
}

/// From exported files to a study folder that says what is left to fill in.
#[test]
fn a_study_from_exported_files() {
    let folder = tempfile::tempdir().expect("a folder");
    let study = folder.path().join("my study");
    let program = || assert_cmd::Command::cargo_bin("vialbook").expect("the program is built");
    // The same name twice, in two folders, with the same content: a copied run.
    let other = folder.path().join("other");
    fs::create_dir(&other).expect("a folder");
    fs::copy(data("lc_ri_5level_dup/STD6-1_ri.txt"), other.join("STD6-1_ri.txt")).expect("copied");
    let open = folder.path().join("unit open.csv");
    fs::write(&open, (0..200).map(|i| format!("{},{}\n", f64::from(i) / 100.0, i % 7)).collect::<String>())
        .expect("written");
    let files = [
        data("lc_ri_5level_dup/STD6-1_ri.txt"),
        other.join("STD6-1_ri.txt"),
        data("lc_ri_5level_dup/STD100-1_ri.txt"),
        data("lc_uv_andi/lc_uv_8peaks.cdf"),
        open.clone(),
    ];
    program().arg("new").arg(&study).arg("--from").args(&files).assert().code(0);
    for (copy, source) in
        ["STD6-1_ri.txt", "STD6-1_ri-2.txt", "STD100-1_ri.txt", "lc_uv_8peaks.cdf", "unit open.csv"].iter().zip(&files)
    {
        assert_eq!(
            fs::read(study.join("traces").join(copy)).expect("a copy"),
            fs::read(source).expect("a file"),
            "{copy}"
        );
    }
    let log = fs::read_to_string(study.join("injections.csv")).expect("a log");
    let lines: Vec<&str> = log.lines().collect();
    assert!(lines[1].starts_with("STD6-1_ri,traces/STD6-1_ri.txt,STD6-1_ri,,"), "{log}");
    assert!(lines[2].starts_with("STD6-1_ri-2,") && lines[2].contains("the same content as STD6-1_ri.txt"), "{log}");
    assert!(lines[4].contains(",2018-10-30 17:43:05,"), "the file states its time of injection: {log}");
    assert!(lines[5].contains("minutes or seconds?"), "{log}");
    let toml = fs::read_to_string(study.join("study.toml")).expect("study.toml");
    assert!(toml.contains("# Peaks that the exports have in common") && toml.contains("left open"), "{toml}");
    // With the comment signs taken away as the file says, the suggestions are a study.
    let compounds = toml[toml.find("# Peaks that").expect("found above")..].lines().skip(1);
    let taken: String = compounds.take_while(|l| !l.is_empty()).map(|l| format!("{}\n", &l[1..])).collect();
    assert!(
        StudyConfig::parse(&toml.replace("name = \"my compound\"\n", &format!("name = \"my compound\"\n{taken}")))
            .is_ok()
    );

    // What is left is said with every line and the column.
    let output = program().arg("analyse").arg(&study).output().expect("runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        said.contains("injections.csv, line 2, column 4") && said.contains("\"kind\" (column 4) in lines 2 to 6"),
        "{said}"
    );

    // A second time nothing is touched; a file that is no trace leaves nothing behind.
    program().arg("new").arg(&study).arg("--from").arg(&open).assert().code(2);
    let none = folder.path().join("none");
    program().arg("new").arg(&none).arg("--from").arg(&open).arg(data("lc_uv_andi/LICENSE.txt")).assert().code(2);
    assert!(!none.exists());
    let left: Vec<String> = fs::read_dir(folder.path())
        .expect("a folder")
        .flatten()
        .map(|e| e.file_name().to_string_lossy().into_owned())
        .collect();
    assert!(!left.iter().any(|n| n.starts_with('.')), "{left:?}");
}

/// The other two doors that bytes come through: the injection log and study.toml.
#[test]
fn mutilated_logs_and_plans_never_panic() {
    let log = fs::read(data("lc_ri_study/injections.csv")).expect("data");
    let sheet = fs::read(data("formats/injections.ods")).expect("data");
    let plan = fs::read(data("lc_ri_study/study.toml")).expect("data");
    let compounds: Vec<String> = ["formate", "acetate", "ethanol"].map(str::to_owned).to_vec();
    let alphabet = b",;\t\"\n()[]=#0-e.\xff";
    let mut random = Random(5);
    let (mut read, mut refused) = (0, 0);
    for round in 0..9_000 {
        let mut bytes = [&log, &sheet, &plan][round % 3].clone();
        for _ in 0..1 + random.below(4) {
            let at = random.below(bytes.len());
            match random.below(4) {
                0 => bytes.insert(at, alphabet[random.below(alphabet.len())]),
                1 => bytes[at] = alphabet[random.below(alphabet.len())],
                2 => bytes[at] ^= 1 << random.below(8),
                _ => drop(bytes.drain(at..(at + 1 + random.below(30)).min(bytes.len()))),
            }
            if bytes.is_empty() {
                break;
            }
        }
        let error = if round % 3 < 2 {
            read_log_bytes("mutilated", &bytes, &compounds).err()
        } else {
            std::str::from_utf8(&bytes).ok().and_then(|text| StudyConfig::parse(text).err())
        };
        match error {
            Some(e) => {
                assert!(round % 3 == 2 || e.to_string().starts_with("mutilated"), "{e}");
                refused += 1;
            }
            None => read += 1,
        }
    }
    assert!(read > 500 && refused > 500, "{read} read, {refused} refused");
}

/// Mutilated files of every format end in a trace or in a sentence that names the file.
#[test]
fn mutilated_files_never_panic() {
    let written = netcdf_bytes(&read_run(data("formats/records_64bit.cdf"), &ReadOptions::default()).expect("a run"))
        .expect("bytes");
    let mut seeds: Vec<(String, Vec<u8>)> = vec![("written.cdf".into(), written), ("blocks.jdx".into(), BLOCKS.into())];
    for file in [
        "formats/records_64bit.cdf",
        "formats/trace.xlsx",
        "formats/trace.ods",
        "formats/injections.xlsx",
        "jcamp/xydata_difdup.dx",
        "jcamp/xydata_fix.dx",
        "jcamp/xydata_packed.dx",
        "jcamp/xydata_squeezed.dx",
        "jcamp/lc_xypoints.jdx",
    ] {
        seeds.push((file.into(), fs::read(data(file)).expect("data")));
    }
    // The real file with its points cut down, so that changes hit the header.
    let andi = fs::read(data("lc_uv_andi/lc_uv_8peaks.cdf")).expect("data");
    seeds.push(("header.cdf".into(), andi[..2600].to_vec()));
    let mut random = Random(20_000);
    let alphabet = b"0123456789.,;:+-@AJS%ajs?Ee#=$ \n\r\x00\x01\x02\x7f\x80\xff";
    let (mut read, mut refused) = (0, 0);
    let each = 20_000 / seeds.len() + 1;
    for (name, seed) in &seeds {
        for _ in 0..each {
            let mut bytes = seed.clone();
            for _ in 0..1 + random.below(5) {
                let at = random.below(bytes.len());
                match random.below(5) {
                    0 => bytes.insert(at, alphabet[random.below(alphabet.len())]),
                    1 => bytes[at] = alphabet[random.below(alphabet.len())],
                    2 => bytes[at] ^= 1 << random.below(8),
                    3 => drop(bytes.drain(at..(at + 1 + random.below(8)).min(bytes.len()))),
                    _ => {
                        let end = (at + 4).min(bytes.len());
                        bytes[at..end].fill([0, 0x7f, 0xff][random.below(3)]);
                    }
                }
                if bytes.is_empty() {
                    break;
                }
            }
            match read_bytes("mutilated", &bytes, &seconds()) {
                Ok(run) => {
                    assert!(run.trace.signal().iter().chain(run.trace.time_min()).all(|v| v.is_finite()));
                    read += 1;
                }
                Err(e) => {
                    assert!(e.to_string().starts_with("mutilated"), "{name}: {e}");
                    refused += 1;
                }
            }
            let _ = read_peak_table_bytes("mutilated", &bytes, &seconds());
        }
    }
    assert!(read > 1000 && refused > 1000, "{read} read, {refused} refused");
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
