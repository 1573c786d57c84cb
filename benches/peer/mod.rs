//! What benches share that run other people's libraries: a Python with pinned versions, and the memory of a process.

#![allow(dead_code)] // no bench needs all of it

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The folder of the scripts.
pub(crate) fn scripts() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/peer")
}

/// A Python with the pinned libraries, made once in the cache folder.
pub(crate) fn environment() -> PathBuf {
    let cache = std::env::var_os("VIALBOOK_CACHE").map(PathBuf::from).unwrap_or_else(|| {
        let base = std::env::var_os("XDG_CACHE_HOME").map(PathBuf::from);
        base.unwrap_or_else(|| PathBuf::from(std::env::var_os("HOME").unwrap()).join(".cache")).join("vialbook")
    });
    let venv = cache.join("peer-python");
    let python = venv.join("bin/python");
    let ready = |p: &Path| {
        Command::new(p)
            .args(["-c", "import numpy, scipy, pandas, polars, statsmodels"])
            .status()
            .is_ok_and(|s| s.success())
    };
    if !ready(&python) {
        fs::create_dir_all(&cache).unwrap();
        let ok = Command::new("python3").args(["-m", "venv"]).arg(&venv).status().unwrap().success()
            && Command::new(&python)
                .args(["-m", "pip", "install", "--quiet", "-r"])
                .arg(scripts().join("requirements.txt"))
                .status()
                .unwrap()
                .success();
        assert!(ok, "the Python environment for the comparison could not be made");
    }
    python
}

/// What a script prints, as JSON.
pub(crate) fn json(python: &Path, script: &str, arguments: &[&OsStr]) -> serde_json::Value {
    let out = Command::new(python).arg(scripts().join(script)).args(arguments).output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice(&out.stdout).unwrap()
}

/// The largest memory that this process has held so far, in bytes, where the system tells.
pub(crate) fn peak_memory() -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|l| l.starts_with("VmHWM"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? * 1024)
}

pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
