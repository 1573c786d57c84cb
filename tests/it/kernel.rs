//! The notebook kernel as its user has it: real cells in the registered kernel, through Jupyter's own client.
//!
//! These tests need the kernel that `vialbook kernel set-up` makes, so they wait to be asked for:
//! `cargo test --test it kernel -- --ignored`. What Jupyter's messages hold is in its "Messaging in Jupyter", 5.3.

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use serde::Deserialize;
use serde_json::{Value, json};

/// What one cell came to.
#[derive(Debug, Deserialize)]
struct Cell {
    status: String,
    stderr: String,
    error: String,
    data: BTreeMap<String, String>,
}

impl Cell {
    fn text(&self) -> &str {
        self.data.get("text/plain").map_or("", String::as_str)
    }

    #[track_caller]
    fn is_good(&self) -> &Self {
        assert!(self.status == "ok" && self.error.is_empty() && self.stderr.is_empty(), "{self:#?}");
        self
    }
}

#[derive(Debug, Deserialize)]
struct Session {
    cells: Vec<Cell>,
}

fn kernelspec() -> (PathBuf, Value) {
    let data = std::env::var_os("JUPYTER_DATA_DIR").map(PathBuf::from).unwrap_or_else(|| {
        let home = PathBuf::from(std::env::var_os("HOME").expect("a home"));
        std::env::var_os("XDG_DATA_HOME").map_or(home.join(".local/share"), PathBuf::from).join("jupyter")
    });
    let path = data.join("kernels/vialbook/kernel.json");
    let text = std::fs::read_to_string(&path).expect("`vialbook kernel set-up` comes first");
    (path, serde_json::from_str(&text).expect("kernel.json is JSON"))
}

fn registered_kit() -> PathBuf {
    PathBuf::from(kernelspec().1["env"]["VIALBOOK_KIT"].as_str().expect("a kit"))
}

fn python() -> PathBuf {
    PathBuf::from(kernelspec().1["env"]["VIALBOOK_PYTHON"].as_str().expect("the kernelspec names its Python"))
}

/// Runs these steps in a fresh kernel whose notebook lies in `folder`.
fn session(folder: &Path, environment: Value, steps: Vec<Value>) -> Session {
    drive(folder, environment, steps, None)
}

/// The same with the kernels of another Jupyter folder.
fn drive(folder: &Path, environment: Value, steps: Vec<Value>, jupyter: Option<&Path>) -> Session {
    let task = json!({"kernel": "vialbook", "folder": folder, "env": environment, "steps": steps});
    let mut command = Command::new(python());
    command.arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kernel/drive.py"));
    if let Some(jupyter) = jupyter {
        command.env("JUPYTER_DATA_DIR", jupyter);
    }
    let mut child = command.stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("python runs");
    child.stdin.take().expect("piped").write_all(task.to_string().as_bytes()).expect("written");
    let output = child.wait_with_output().expect("ended");
    assert!(output.status.success(), "the driver failed");
    serde_json::from_slice(&output.stdout).expect("JSON")
}

fn cells(codes: &[&str]) -> Vec<Value> {
    codes.iter().map(|code| json!({ "code": code })).collect()
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a folder")
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn the_library_is_there_before_the_first_cell() {
    let place = folder();
    let session = session(
        place.path(),
        json!({}),
        cells(&[
            // Types through our Result alias are inferred; `?` works; std's Result keeps its two parameters.
            "let study = Study::demo(\"demo\")?;",
            "let run = study.run(\"level-3-1\")?;",
            "let peaks = run.find_peaks(&Detect::default())?;\nlet count = peaks.len();",
            "let parsed: Result<f64, std::num::ParseFloatError> = \"1.5\".parse::<f64>();\nparsed.is_ok() && count >= 4",
            "study",
            "run",
            "peaks",
            "run.plot()",
            // A user's own types and derives, and a version from the manifest.
            "#[derive(Clone, Debug, PartialEq)]\nstruct Own { x: f64 }\nlet own = Own { x: 1.0 };",
            "own",
            // The notebook's own folder is where paths start.
            "std::env::current_dir()?.join(\"demo/study.toml\").is_file()",
        ]),
    );
    for cell in &session.cells {
        cell.is_good();
    }
    assert_eq!(session.cells[3].text(), "true");
    for shown in &session.cells[4..8] {
        assert!(shown.data.contains_key("text/html") && shown.data.contains_key("text/plain"), "{shown:?}");
        assert!(!shown.data.contains_key("image/png"));
    }
    assert!(session.cells[7].data.contains_key("application/vnd.plotly.v1+json"));
    assert!(session.cells[9].text().contains("Own { x: 1.0 }"));
    assert_eq!(session.cells[10].text(), "true");
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn slips_and_panics_leave_a_sentence_and_a_kernel_that_goes_on() {
    let place = folder();
    let session = session(
        place.path(),
        json!({}),
        cells(&[
            "let study = Study::demo(\"demo\")?;\nlet kept = 7_usize;",
            "study.run(\"level-3-9\")?",
            "let analysis = study.analyse()?;\nanalysis.calibration(\"2-propanole\")?",
            "let list = vec![1.0];\nlist[kept]",
            "kept + 1",
            "let x: f64 = \"text\";",
            "kept + 2",
        ]),
    );
    let [_, run, compound, panic, after, type_error, last] = &session.cells[..] else { panic!("seven cells") };
    assert!(run.stderr.contains("level-3-9") && run.stderr.lines().count() <= 4, "{run:?}");
    assert!(compound.stderr.contains("2-propanol"), "{compound:?}");
    // One sentence, no backtrace of fifteen lines.
    assert!(panic.stderr.contains("index out of bounds") && panic.stderr.lines().count() <= 3, "{panic:?}");
    assert_eq!(after.is_good().text(), "8");
    assert!(type_error.error.contains("mismatched types"), "{type_error:?}");
    assert_eq!(last.is_good().text(), "9");
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn an_interrupt_and_a_killed_process_leave_a_kernel_that_goes_on() {
    let place = folder();
    let wait = "loop { std::thread::sleep(std::time::Duration::from_millis(50)); }";
    let session = session(
        place.path(),
        json!({}),
        vec![
            json!({"code": "let kept = 7;"}),
            json!({"code": wait, "interrupt_after": 4.0}),
            json!({"code": "std::env::current_dir()?.is_dir() && Study::demo(\"demo\").is_ok()"}),
            json!({"code": wait, "kill_after": 4.0}),
            json!({"code": "let list = vec![1.0];\nlist[list.len() + 3]"}),
            json!({"code": "1 + 1"}),
        ],
    );
    let [_, interrupted, after, killed, panic, last] = &session.cells[..] else { panic!("six cells") };
    for stopped in [interrupted, killed] {
        assert_eq!(stopped.status, "error");
        assert!(
            stopped.stderr.contains("started again") && stopped.stderr.contains("variables are gone"),
            "{stopped:?}"
        );
    }
    assert_eq!(after.is_good().text(), "true");
    assert!(panic.stderr.contains("index out of bounds") && panic.stderr.lines().count() <= 4, "{panic:?}");
    assert_eq!(last.is_good().text(), "2");
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn two_notebooks_at_once_do_not_meet() {
    let (one, other) = (folder(), folder());
    let codes = |x: i32| {
        vec![json!({"code": format!("let x = {x};\nstd::fs::write(\"x.txt\", x.to_string())?;")}), json!({"code": "x"})]
    };
    std::thread::scope(|scope| {
        let first = scope.spawn(|| session(one.path(), json!({}), codes(1)));
        let second = scope.spawn(|| session(other.path(), json!({}), codes(2)));
        assert_eq!(first.join().expect("ran").cells[1].is_good().text(), "1");
        assert_eq!(second.join().expect("ran").cells[1].is_good().text(), "2");
    });
    assert_eq!(std::fs::read_to_string(one.path().join("x.txt")).expect("there"), "1");
    assert_eq!(std::fs::read_to_string(other.path().join("x.txt")).expect("there"), "2");
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn files_beside_the_notebook_do_not_steer_the_kernel() {
    let place = folder();
    std::fs::write(place.path().join("evcxr.toml"), "[evcxr]\nprelude = \"let x: u8 = 300;\"\n").expect("written");
    std::fs::write(place.path().join("rust-toolchain.toml"), "[toolchain]\nchannel = \"1.2.3\"\n").expect("written");
    std::fs::write(place.path().join("Cargo.toml"), "not a manifest").expect("written");
    let environment = json!({"RUSTFLAGS": "--cfg nonsense -Cfoo", "CARGO_TARGET_DIR": "/nowhere", "LD_LIBRARY_PATH": "/nowhere",
        "CARGO_PKG_NAME": "other", "EVCXR_TMPDIR": "/nowhere"});
    let session = session(place.path(), environment, cells(&["Study::demo(\"demo\")?.runs().len() > 20"]));
    assert_eq!(session.cells[0].is_good().text(), "true");
}

/// A copy of the registered kit by links, in which one file can be replaced.
fn altered_kit(place: &Path, name: &str, text: &str) -> PathBuf {
    let kit = place.join("kit");
    std::fs::create_dir_all(&kit).expect("made");
    for entry in std::fs::read_dir(registered_kit()).expect("a kit").flatten() {
        if entry.file_name() != name {
            std::os::unix::fs::symlink(entry.path(), kit.join(entry.file_name())).expect("linked");
        }
    }
    std::fs::write(kit.join(name), text).expect("written");
    kit
}

/// The kernelspec's own settings win over the client's, so a test kernelspec of another name is made for these.
fn session_of_kit(kit: &Path, strict: bool, codes: &[&str]) -> Session {
    let (path, mut specification) = kernelspec();
    specification["env"]["VIALBOOK_KIT"] = json!(kit);
    if strict {
        specification["env"]["VIALBOOK_STRICT"] = json!("1");
    }
    let data = kit.parent().expect("a parent").join("jupyter");
    let spec = data.join("kernels/vialbook");
    std::fs::create_dir_all(&spec).expect("made");
    std::fs::write(spec.join("kernel.json"), specification.to_string()).expect("written");
    assert!(path.exists());
    drive(&data, json!({}), cells(codes), Some(&data))
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn a_stale_kit_is_a_sentence_in_the_cell() {
    let place = folder();
    let kit = altered_kit(place.path(), "kit.json", r#"{"rustc": "rustc 1.2.3 (long ago)", "library_bytes": 1}"#);
    let session = session_of_kit(&kit, false, &["1 + 1", "2 + 2"]);
    for cell in &session.cells {
        assert_eq!(cell.status, "error");
        assert!(
            cell.error.contains("rustc 1.2.3 (long ago)") && cell.error.contains("vialbook kernel set-up"),
            "{cell:?}"
        );
    }
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn a_session_folder_that_cannot_be_made_is_a_sentence_in_the_cell() {
    let place = folder();
    let kit = altered_kit(place.path(), "sessions", "a file where a folder should be");
    let session = session_of_kit(&kit, false, &["1 + 1"]);
    assert!(session.cells[0].error.contains("is the disk full?"), "{:?}", session.cells[0]);
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn a_prelude_that_fails_is_a_sentence_in_the_cell() {
    let place = folder();
    let config = place.path().join("config");
    std::fs::create_dir_all(&config).expect("made");
    std::fs::write(config.join("evcxr.toml"), "[evcxr]\nprelude = \"let x: u8 = no_such_name;\"\n").expect("written");
    let kit = altered_kit(place.path(), "config", "");
    std::fs::remove_file(kit.join("config")).expect("removed");
    std::os::unix::fs::symlink(&config, kit.join("config")).expect("linked");
    let session = session_of_kit(&kit, false, &["1 + 1"]);
    assert!(session.cells[0].error.contains("no_such_name"), "{:?}", session.cells[0]);
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn where_nobody_watches_a_panic_is_an_error() {
    let place = folder();
    let kit = place.path().join("kit");
    std::os::unix::fs::symlink(registered_kit(), &kit).expect("linked");
    let session = session_of_kit(&kit, true, &["let list = vec![1.0];\nlist[list.len() + 3]"]);
    assert_eq!(session.cells[0].status, "error");
    assert!(session.cells[0].stderr.contains("index out of bounds"), "{:?}", session.cells[0]);
}

#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn a_stock_rust_kernel_is_never_rewritten() {
    let place = folder();
    let kit = place.path().join("kit");
    std::os::unix::fs::symlink(registered_kit(), &kit).expect("linked");
    // evcxr updates `kernels/rust` at its start wherever version.txt is not its own.
    let stock = place.path().join("jupyter/kernels/rust");
    std::fs::create_dir_all(&stock).expect("made");
    std::fs::write(stock.join("version.txt"), "0.0.0").expect("written");
    std::fs::write(stock.join("kernel.json"), "{\"argv\": []}").expect("written");
    session_of_kit(&kit, false, &["1 + 1"]).cells[0].is_good();
    assert_eq!(std::fs::read_to_string(stock.join("version.txt")).expect("there"), "0.0.0");
    assert_eq!(std::fs::read_dir(&stock).expect("there").count(), 2);
}

/// The numbered notebooks run from top to bottom, strictly, and show what they promise.
#[test]
#[ignore = "needs the kernel: vialbook kernel set-up"]
fn the_notebooks_run_from_top_to_bottom() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks");
    let mut notebooks: Vec<PathBuf> = std::fs::read_dir(&root)
        .expect("notebooks")
        .flatten()
        .map(|e| e.path())
        .filter(|p| p.extension().is_some_and(|e| e == "ipynb") && !p.to_string_lossy().contains(".executed."))
        .collect();
    notebooks.sort();
    assert!(!notebooks.is_empty());
    let place = folder();
    // They run in a copy: what a notebook writes lies beside it.
    copy(&root, place.path());
    for notebook in notebooks {
        let name = notebook.file_name().expect("a name");
        let output = Command::new(env!("CARGO_BIN_EXE_vialbook"))
            .args(["notebook", "--run"])
            .arg(place.path().join(name))
            .output()
            .expect("runs");
        let words = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{}: {words}", notebook.display());
        let executed = place.path().join(name).with_extension("executed.ipynb");
        let read: Value = serde_json::from_slice(&std::fs::read(&executed).expect("written")).expect("JSON");
        let text = read.to_string();
        assert!(text.contains("text/html"), "{}", notebook.display());
        // The page shows the pictures without the renderer, and fetches nothing.
        let html = std::fs::read_to_string(executed.with_extension("html")).expect("written");
        assert!(html.contains("<svg") || html.contains("data:image/svg+xml"), "{}", notebook.display());
        for fetched in ["<script src=\"http", "<link rel=\"stylesheet\" href=\"http"] {
            assert!(!html.contains(fetched), "{}: {fetched}", notebook.display());
        }
    }
}

fn copy(from: &Path, to: &Path) {
    for entry in std::fs::read_dir(from).expect("readable").flatten() {
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            std::fs::create_dir_all(&target).expect("made");
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).expect("copied");
        }
    }
}
