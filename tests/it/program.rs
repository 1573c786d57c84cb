//! The program as its user runs it: exit codes, help, what goes to which door, refusals before any work is done.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use vialbook::ContentUnit;
use vialbook::study::{StudyConfig, read_log};

const TEMPLATE: &str = include_str!("../../src/cli/new-study.toml");

fn program() -> Command {
    Command::new(env!("CARGO_BIN_EXE_vialbook"))
}

/// Exit code, standard output, standard error.
fn run(arguments: &[&str]) -> (Option<i32>, String, String) {
    let done = program().args(arguments).output().expect("runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    (done.status.code(), text(done.stdout), text(done.stderr))
}

/// The demo's study in a folder of its own.
fn study() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let study = folder.path().join("study");
    vialbook::simulate::recovered_eluent(vialbook::simulate::DEMO_SEED).write_study(&study).expect("written");
    (folder, study)
}

fn text(path: &Path) -> &str {
    path.to_str().expect("UTF-8")
}

/// One sentence on standard error, nothing on standard output, exit code 2.
fn refused(arguments: &[&str], wanted: &str) {
    let (code, out, err) = run(arguments);
    assert_eq!(code, Some(2), "{arguments:?}: {err}");
    assert!(out.is_empty(), "{arguments:?} printed {out}");
    assert!(err.starts_with("error: ") && err.contains(wanted), "{arguments:?}: no {wanted:?} in {err}");
    assert!(!err.contains("panicked"), "{err}");
}

#[test]
fn help_of_every_command_names_what_is_understood() {
    for (command, wanted) in [
        ("demo", &["--seed", "--typst", "be empty"][..]),
        ("new", &["<FOLDER>", "--from"]),
        (
            "inspect",
            &["ms, s, min or h", "comma, semicolon, tab, bar, blanks or one_column", "point or comma", "--set"],
        ),
        ("analyse", &["<STUDY>", "injection log"]),
        ("report", &["--template", "[default: formal-report]", "--output", "--typst", "VIALBOOK_TYPST"]),
    ] {
        let (code, out, err) = run(&[command, "--help"]);
        assert_eq!((code, err.as_str()), (Some(0), ""), "{command}");
        for word in wanted {
            assert!(out.contains(word), "{command} --help does not say {word}:\n{out}");
        }
        assert!(run(&["--help"]).1.contains(command));
    }
    assert_eq!(run(&["--version"]), (Some(0), format!("vialbook {}\n", env!("CARGO_PKG_VERSION")), String::new()));
    for wrong in [&[][..], &["nonsense"], &["new"], &["inspect"], &["analyse"], &["report"], &["demo", "--seed", "x"]] {
        assert_eq!(run(wrong).0, Some(2), "{wrong:?}");
    }
}

/// What the help of `inspect` lists is what a study file understands.
#[test]
fn units_and_marks_in_the_help_are_understood() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("run.txt");
    let lines: String = (0..200).map(|i| format!("{i};{}\n", 10 + i % 3)).collect();
    fs::write(&file, lines).expect("written");
    for unit in ["ms", "s", "min", "h"] {
        let (code, out, err) = run(&["inspect", text(&file), "--time-unit", unit]);
        assert_eq!(code, Some(0), "{unit}: {err}");
        assert!(out.contains("  points      200"), "{out}");
    }
    let all = ["--time-unit", "s", "--delimiter", "semicolon", "--decimal-mark", "point", "--set", "header_rows=0"];
    let numbered = ["--time-column", "1", "--signal-column", "2", "--json"];
    let (code, out, err) = run(&[&["inspect", text(&file)], &all[..], &numbered[..]].concat());
    assert_eq!(code, Some(0), "{err}");
    let json: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(json[0]["reading"]["points"], 200);
    refused(&["inspect", text(&file), "--time-unit", "day"], "unknown variant `day`");
    refused(&["inspect", text(&file), "--set", "interval_s"], "has no =");
    refused(&["inspect", text(&file), "--time-unit", "s", "--time-column", "7"], "time_column is 7");
    refused(&["inspect", text(&folder.path().join("none.txt"))], "none.txt");
}

#[test]
fn analyse_gives_a_table_to_the_one_door_and_words_to_the_other() {
    let (_folder, study) = study();
    let (code, out, err) = run(&["analyse", text(&study)]);
    assert_eq!(code, Some(0), "{err}");
    assert!(out.lines().all(|l| l.split('\t').count() == 4), "{out}");
    assert!(out.contains("recovered eluent\t2-propanol\tvolume fraction\t"), "{out}");
    // The README's number.
    let readme = include_str!("../../README.md");
    let amount = out.lines().find(|l| l.starts_with("recovered eluent\t2-propanol\tvolume")).expect("an amount");
    let number = amount.rsplit('\t').next().and_then(|a| a.split(" (").next()).expect("a number");
    assert!(readme.contains(&format!("// {number}")), "the README does not say {number}");
    // As the report counts: decisions are no checks.
    let mut findings = csv::Reader::from_path(study.join("results/findings.csv")).expect("findings");
    let rows: Vec<csv::StringRecord> = findings.records().map(|r| r.expect("a row")).collect();
    let (decisions, checks): (Vec<_>, Vec<_>) = rows.iter().partition(|r| r[1].starts_with("decision"));
    let passed = checks.iter().filter(|r| &r[0] == "pass").count();
    assert_eq!(decisions.len(), 2);
    assert!(err.contains(&format!("\n{passed} checks passed; ")), "{passed} in findings.csv, but {err}");
}

#[test]
fn a_failed_check_is_exit_code_1() {
    let (_folder, study) = study();
    let toml = study.join("study.toml");
    let plan = fs::read_to_string(&toml).expect("readable");
    assert!(plan.contains("high = 0.5"));
    fs::write(&toml, plan.replace("high = 0.5", "high = 0.3")).expect("written");
    let (code, _, err) = run(&["analyse", text(&study)]);
    assert_eq!(code, Some(1), "{err}");
    assert!(err.contains("fail: decision: 2-propanol"), "{err}");
}

#[test]
fn a_place_that_cannot_be_is_told_before_any_work() {
    let (folder, study) = study();
    let toml = study.join("study.toml");
    for command in ["analyse", "report"] {
        refused(&[command, text(&toml)], &format!("a study is named by its folder (hint: vialbook {command} \""));
        refused(&[command, text(&folder.path().join("none"))], "no such study folder");
    }
    refused(&["report", text(&study), "-o", text(folder.path())], "the name of a file is wanted");
    refused(
        &["report", text(&study), "-o", &format!("{}/later/", text(folder.path()))],
        "the name of a file is wanted",
    );
    refused(&["report", text(&study), "--typst", text(&folder.path().join("none"))], "none");
    refused(&["demo", text(&toml)], "the name of a folder is wanted");
    refused(&["demo", text(folder.path())], "no demo made before");
    // A PDF that somebody protected.
    let pdf = folder.path().join("kept.pdf");
    fs::write(&pdf, "kept").expect("written");
    let mut rights = fs::metadata(&pdf).expect("there").permissions();
    rights.set_readonly(true);
    fs::set_permissions(&pdf, rights).expect("protected");
    refused(&["report", text(&study), "-o", text(&pdf)], "protected against writing");
    assert_eq!(fs::read_to_string(&pdf).expect("readable"), "kept");
    assert!(!study.join("results").exists(), "nothing was analysed");
}

#[test]
fn a_report_that_cannot_be_written_is_a_sentence() {
    let Some(typesetter) = vialbook::report::Typesetter::find(None).ok().flatten() else {
        eprintln!("skipped: no typst 0.15 on the PATH, in VIALBOOK_TYPST or in the cache");
        return;
    };
    let (folder, study) = study();
    // A file where a folder would have to be: nobody can write there, whatever their rights.
    let inside_a_file = study.join("study.toml").join("report.pdf");
    let (code, out, err) = run(&["report", text(&study), "-o", text(&inside_a_file)]);
    assert_eq!((code, out.as_str()), (Some(2), ""), "{err}");
    assert!(err.contains("error: ") && err.contains("report.pdf: could not "), "{err}");
    let (code, out, err) = run(&["report", text(&study)]);
    assert_eq!((code, out), (Some(0), format!("{}\n", text(&study.join("report.pdf")))), "{err}");
    // The typesetter by a path from where the user stands.
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(typesetter.program(), folder.path().join("typst")).expect("a link");
        let done = program().current_dir(folder.path()).args(["report", "study", "--typst", "./typst"]).output();
        let done = done.expect("runs");
        assert_eq!(done.status.code(), Some(0), "{}", String::from_utf8_lossy(&done.stderr));
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_a_sentence_and_exit_code_2() {
    let (_folder, study) = study();
    let trace = study.join("traces/level-3-1.csv");
    for arguments in [
        &["inspect", text(&trace)][..],
        &["inspect", "--json", text(&trace)],
        &["analyse", text(&study)],
        &["--help"],
        &["--version"],
    ] {
        let full = || fs::OpenOptions::new().write(true).open("/dev/full").expect("/dev/full");
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_vialbook")).args(arguments).stdout(full()).output();
        let done = done.expect("runs");
        let err = String::from_utf8_lossy(&done.stderr);
        assert_eq!(done.status.code(), Some(2), "{arguments:?}: {err}");
        assert!(err.contains("error: could not write to standard output: "), "{arguments:?}: {err}");
        // Where even words cannot be said, the exit code still is.
        let mut silent = std::process::Command::new(env!("CARGO_BIN_EXE_vialbook"));
        let status = silent.args(arguments).stdout(full()).stderr(full()).status().expect("runs");
        assert_eq!(status.code(), Some(2), "{arguments:?}");
    }
    // Words that are lost do not spoil the data.
    let full = fs::OpenOptions::new().write(true).open("/dev/full").expect("/dev/full");
    let done = std::process::Command::new(env!("CARGO_BIN_EXE_vialbook"))
        .args(["analyse", text(&study)])
        .stdout(std::process::Stdio::piped())
        .stderr(full)
        .spawn()
        .and_then(std::process::Child::wait_with_output)
        .expect("runs");
    assert_eq!(done.status.code(), Some(0));
    assert!(done.stdout.starts_with(b"sample\t"));
}

#[cfg(unix)]
#[test]
fn a_reader_that_leaves_is_no_failure() {
    use std::io::{BufRead as _, BufReader};
    use std::process::Stdio;
    let (_folder, study) = study();
    let trace = text(&study.join("traces/level-3-1.csv")).to_owned();
    // More than a pipe holds, so that the program still writes when its reader has gone.
    let arguments: Vec<&str> = ["inspect", "--json"].into_iter().chain([trace.as_str(); 40]).collect();
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_vialbook"))
        .args(&arguments)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("starts");
    let mut reader = BufReader::new(child.stdout.take().expect("piped"));
    let mut line = String::new();
    reader.read_line(&mut line).expect("a line");
    assert_eq!(line, "[\n");
    drop(reader);
    let done = child.wait_with_output().expect("ends");
    let err = String::from_utf8_lossy(&done.stderr);
    assert_eq!((done.status.code(), err.as_ref()), (Some(0), ""));
    assert!(run(&arguments).1.len() > 1 << 17, "the test writes less than a pipe holds");
}

/// The template with every example taken as written: the # before a key, with no blank between, taken away.
fn filled_in() -> String {
    let key =
        |l: &str| l.strip_prefix('#').filter(|rest| !rest.is_empty() && !rest.starts_with(' ')).map(str::to_owned);
    TEMPLATE.lines().map(|l| key(l).unwrap_or_else(|| l.to_owned()) + "\n").collect()
}

#[test]
fn the_template_is_a_study_as_it_is_and_with_every_example_filled_in() {
    let plain = StudyConfig::parse(TEMPLATE).expect("the template");
    assert_eq!(plain.decision, None);
    let full = StudyConfig::parse(&filled_in()).expect("the examples");
    assert_eq!((full.methods.len(), full.methods[0].oven.len(), full.solutions[0].sources.len()), (1, 2, 1));
    assert_eq!(full.decision.expect("a decision").limits.len(), 1);
    // An example that is also the default changes nothing: what is shown is what holds.
    assert_eq!(full.quantification.level, plain.quantification.level);
    assert_eq!(full.quantification.accepted_deviation_percent, plain.quantification.accepted_deviation_percent);
    assert_eq!(full.peaks.threshold, Some(vialbook::peaks::Detect::default().threshold_z));
    let offset = vialbook::identify::Naming::default().start_offset_limit_s;
    assert_eq!(full.peaks.start_offset_limit_s, Some(offset));
    let default = vialbook::check::CheckLimits::default();
    assert_eq!(full.limits, vialbook::check::CheckLimits { plates: full.limits.plates, ..default });
}

/// The names that stand in backquotes in the complaint about this text: what would have been understood.
fn understood(toml: &str) -> BTreeSet<String> {
    let complaint = StudyConfig::parse(toml).expect_err(toml).to_string();
    assert!(complaint.contains("nonsense"), "{complaint}");
    let names: BTreeSet<String> = complaint.split('`').skip(1).step_by(2).map(str::to_owned).collect();
    assert!(names.len() > 1, "{complaint}");
    names.into_iter().filter(|n| n != "nonsense").collect()
}

/// The reader itself lists its keys and words when it meets one that it does not know.
#[test]
fn the_template_explains_every_key_and_every_word() {
    let compound = "[[compound]]\nname = \"x\"\n";
    let limit = "compound = \"x\"\nunit = \"mg/L\"\norigin = \"x\"\n";
    let mut keys: Vec<String> = vec!["nonsense = 1".into()];
    for table in [
        "instrument",
        "column",
        "detector",
        "reading",
        "peaks",
        "limits",
        "quantification",
        "decision",
        "report",
        "record",
    ] {
        keys.push(format!("[{table}]\nnonsense = 1"));
    }
    for table in ["method", "solution", "compound"] {
        keys.push(format!("[[{table}]]\nname = \"x\"\nnonsense = 1"));
    }
    keys.push("[[method]]\nname = \"x\"\noven = [{ temperature_C = 40.0, nonsense = 1 }]".into());
    keys.push("[[solution]]\nname = \"x\"\n[[solution.source]]\nname = \"x\"\nnonsense = 1".into());
    keys.push(format!("{compound}[[decision.limit]]\n{limit}nonsense = 1"));
    let reference = "sample = \"x\"\ncompound = \"x\"\nvalue = 1.0\nu = 0.1\nunit = \"mg/L\"\norigin = \"x\"\n";
    keys.push(format!("[[comparison]]\n{reference}nonsense = 1"));
    let history = "of = \"recovery\"\ncompound = \"x\"\nvalues = [1, 2, 3, 4, 5]\n";
    keys.push(format!("{compound}[[history]]\n{history}nonsense = 1"));
    keys.push("[[task]]\ntext = \"x\"\nnonsense = 1".into());
    keys.push("[[record.change]]\nwhat = \"x\"\nby = \"x\"\nwhy = \"x\"\nnonsense = 1".into());
    let is_word = |c: char| c.is_alphanumeric() || c == '_';
    for toml in keys {
        for key in understood(&format!("title = \"x\"\n{toml}")) {
            let keyed = TEMPLATE.match_indices(&format!("{key} = ")).any(|(at, _)| !TEMPLATE[..at].ends_with(is_word));
            let table = [format!("[{key}]"), format!("[[{key}]]"), format!(".{key}]]")];
            assert!(keyed || table.iter().any(|t| TEMPLATE.contains(t)), "no word about {key}, known at {toml}");
        }
    }
    for toml in [
        "[[compound]]\nname = \"x\"\nrole",
        "[detector]\nresponse",
        "[[method]]\nname = \"x\"\npressure_is",
        "[[method]]\nname = \"x\"\nstart_button",
        "[[solution]]\nname = \"x\"\nused_in",
        "[[solution]]\nname = \"x\"\n[[solution.source]]\nname = \"x\"\ndistribution",
        "[[solution]]\nname = \"x\"\n[[solution.source]]\nname = \"x\"\nscope",
        "[reading]\ndelimiter",
        "[reading]\ndecimal_mark",
        "[reading]\nmissing_cells",
        "[reading]\nrepeated_times",
        "[peaks]\nwindow_baseline",
        "[peaks]\nintegration",
        "[peaks]\noverlap",
        "[peaks]\nfit.shape",
        "[peaks]\nbaseline.method",
        "[quantification]\nby",
        "[quantification]\ninternal_standard_added",
        "[quantification]\nmodel",
        "[quantification]\nweights",
        "[[history]]\nof",
        "[report]\npaper",
    ] {
        let complaint =
            StudyConfig::parse(&format!("title = \"x\"\n{toml} = \"nonsense\"")).expect_err(toml).to_string();
        let (_, wanted) = complaint.split_once("nonsense").expect("the word");
        let words: Vec<&str> = wanted.split(['`', '"']).skip(2).step_by(2).collect();
        assert!(!words.is_empty(), "{complaint}");
        for word in words {
            assert!(TEMPLATE.contains(&format!("\"{word}\"")), "no word about {word}: {complaint}");
        }
    }
}

#[test]
fn the_template_explains_the_injection_log() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let log = folder.path().join("injections.csv");
    fs::write(&log, "run,file,sample,kind\na,a.csv,x,nonsense\n").expect("written");
    let complaint = read_log(&log, &[]).expect_err("no kind").to_string();
    let (_, kinds) = complaint.split_once("kinds: ").expect("a list");
    let told =
        TEMPLATE.split_once("#   kind ").and_then(|(_, rest)| rest.split_once("#   preparation ")).expect("kinds").0;
    // The first word of a line, or one of several with commas between.
    let told: Vec<&str> = told.lines().flat_map(|l| l.trim_start_matches(['#', ' ']).split(", ")).collect();
    for kind in kinds.trim_end_matches(')').split(", ") {
        assert!(told.iter().any(|t| t.split(' ').next() == Some(kind)), "no word about the kind {kind}");
    }
    // The header that `new` writes, and what it puts beside it.
    let made = folder.path().join("made");
    assert_eq!(run(&["new", text(&made)]).0, Some(0));
    let header = fs::read_to_string(made.join("injections.csv")).expect("written");
    let columns: Vec<&str> = header.lines().next().expect("a header").split(',').collect();
    let known = columns.iter().filter(|c| !c.contains(" (mg/L)"));
    for column in known.chain(&["group"]) {
        assert!(TEMPLATE.contains(&format!("\n#   {column} ")), "no word about the column {column}");
    }
    let complaint = ContentUnit::parse("nonsense").expect_err("no unit").to_string();
    let listed = TEMPLATE.split_once("# Units: ").and_then(|(_, rest)| rest.split_once(".\n")).expect("a list").0;
    for unit in listed.split(", ") {
        assert!(ContentUnit::parse(unit).is_ok(), "{unit} is not understood");
        assert!(complaint.contains(unit), "{unit} is not in: {complaint}");
    }
    // An empty log is a sentence, not an empty result.
    refused(&["analyse", text(&made)], "without injections");
    refused(&["new", text(folder.path())], "holds something already");
}

/// The report follows the author's pen: a file changed while the program waits is in the next PDF.
#[test]
fn watch_makes_the_report_again() {
    if vialbook::report::Typesetter::find(None).ok().flatten().is_none() {
        assert!(std::env::var_os("CI").is_none(), "CI has a typst; without one this tests nothing");
        return;
    }
    let (folder, study) = study();
    let mut child = std::process::Command::new(assert_cmd::cargo::cargo_bin!("vialbook"))
        .args(["report", "--watch"])
        .arg(&study)
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .expect("started");
    let pdf = study.join("report.pdf");
    let wait_for = |done: &dyn Fn() -> bool| {
        (0..600).any(|_| {
            done() || {
                std::thread::sleep(std::time::Duration::from_millis(50));
                false
            }
        })
    };
    let first = wait_for(&|| pdf.is_file());
    let before = std::fs::read(&pdf).unwrap_or_default();
    std::fs::create_dir_all(study.join("words")).expect("made");
    std::fs::write(study.join("words/abstract.md"), "Written while the program waits.").expect("written");
    let again = wait_for(&|| std::fs::read(&pdf).is_ok_and(|now| now != before));
    child.kill().expect("stopped");
    let _ = child.wait();
    assert!(first && again, "first {first}, again {again}");
    drop(folder);
}

#[test]
fn one_study_that_fails_holds_up_no_other() {
    if vialbook::report::Typesetter::find(None).ok().flatten().is_none() {
        assert!(std::env::var_os("CI").is_none(), "CI has a typst; without one this tests nothing");
        return;
    }
    let (folder, study) = study();
    let broken = folder.path().join("broken");
    std::fs::create_dir_all(&broken).expect("made");
    std::fs::write(broken.join("study.toml"), "title = ").expect("written");
    let mut command = std::process::Command::new(assert_cmd::cargo::cargo_bin!("vialbook"));
    let done = command.arg("report").arg(&broken).arg(&study).output().expect("run");
    assert_eq!(done.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&done.stderr).contains("broken"), "the broken study is not named");
    assert!(study.join("report.pdf").is_file(), "the sound study has no report");
}
