//! The Python that benches compare with.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A Python with the pinned libraries, made once in the cache folder.
pub(crate) fn environment(here: &Path) -> PathBuf {
    let cache = std::env::var_os("VIALBOOK_CACHE").map(PathBuf::from).unwrap_or_else(|| {
        let base = std::env::var_os("XDG_CACHE_HOME").map(PathBuf::from);
        base.unwrap_or_else(|| PathBuf::from(std::env::var_os("HOME").unwrap()).join(".cache")).join("vialbook")
    });
    let venv = cache.join("peer-python");
    let python = venv.join("bin/python");
    let ready = |p: &Path| {
        Command::new(p).args(["-c", "import numpy, scipy, pandas, statsmodels"]).status().is_ok_and(|s| s.success())
    };
    if !ready(&python) {
        fs::create_dir_all(&cache).unwrap();
        let ok = Command::new("python3").args(["-m", "venv"]).arg(&venv).status().unwrap().success()
            && Command::new(&python)
                .args(["-m", "pip", "install", "--quiet", "-r"])
                .arg(here.join("requirements.txt"))
                .status()
                .unwrap()
                .success();
        assert!(ok, "the Python environment for the comparison could not be made");
    }
    python
}
