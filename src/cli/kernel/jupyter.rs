//! The Python environment with JupyterLab, and the kernel's entry in Jupyter.

use std::path::{Path, PathBuf};
use std::process::Command;

use sha2::{Digest as _, Sha256};

use super::kit::Kit;
use super::tools::{self, Tools};
use super::{Freshness, places};
use crate::error::{Error, ErrorKind, Result};
use crate::report::cache_folder;
use crate::study::write::write_whole;

/// The kernel's name in Jupyter; a stock Rust kernel is called `rust`, and is never touched.
pub(in crate::cli) const KERNEL_NAME: &str = "vialbook";
const REQUIREMENTS: &str = include_str!("../../kernel/requirements.txt");
/// JupyterLab's settings: it asks nobody for news.
const SETTINGS: &str = include_str!("../../kernel/overrides.json");
const COMPLETE: &str = "complete";

/// A Python virtual environment of our own with everything in requirements.txt.
#[derive(Clone, Debug)]
pub(in crate::cli) struct Environment {
    folder: PathBuf,
}

impl Environment {
    /// The environment, made if it is not there.
    pub(super) fn provide(say: &mut dyn FnMut(&str)) -> Result<(Self, Freshness)> {
        let environment = Environment { folder: folder()? };
        if environment.is_complete() {
            return Ok((environment, Freshness::AlreadyThere));
        }
        places::remove_folder(&environment.folder)?;
        let mut make = Command::new("python3");
        make.args(["-m", "venv"]).arg(&environment.folder);
        tools::watched(make, "making a Python environment (python3 -m venv)", say, &mut |_| {})
            .map_err(|e| e.hint("install Python 3.10 or later with its venv module (Debian: python3-venv)"))?;
        let list = environment.folder.join("requirements.txt");
        write_whole(&list, REQUIREMENTS.as_bytes())?;
        let mut install = Command::new(environment.program("python"));
        install.args(["-m", "pip", "install", "--no-input", "--disable-pip-version-check", "--requirement"]).arg(&list);
        tools::watched(install, "installing JupyterLab (pip)", say, &mut |_| {})?;
        let settings = environment.folder.join("share/jupyter/lab/settings/overrides.json");
        write_whole(&settings, SETTINGS.as_bytes())?;
        write_whole(&environment.folder.join(COMPLETE), "".as_bytes())?;
        Ok((environment, Freshness::Made))
    }

    /// The environment, if it is there.
    pub(in crate::cli) fn find() -> Result<Option<Self>> {
        let environment = Environment { folder: folder()? };
        Ok(environment.is_complete().then_some(environment))
    }

    /// A program of the environment.
    pub(in crate::cli) fn program(&self, name: &str) -> PathBuf {
        self.folder.join("bin").join(name)
    }

    fn is_complete(&self) -> bool {
        self.folder.join(COMPLETE).is_file()
    }

    /// Writes the kernelspec, where it is not there already in just these words.
    pub(super) fn register(&self, kit: &Kit, tools: &Tools) -> Result<((), Freshness)> {
        let folder = kernelspec_folder()?;
        let path = folder.join("kernel.json");
        let mut environment = serde_json::Map::new();
        for (name, value) in kit.environment(tools) {
            environment.insert(name, value.into());
        }
        environment.insert("VIALBOOK_PYTHON".into(), self.program("python").display().to_string().into());
        environment.insert("VIALBOOK_CACHE".into(), cache_folder()?.display().to_string().into());
        // Started from a desktop, Jupyter may not know where cargo is; it fills in its own PATH.
        if let Some(programs) = &tools.programs {
            environment.insert("PATH".into(), format!("{}:${{PATH}}", programs.display()).into());
        }
        let specification = serde_json::json!({
            "argv": [kit.program(), "--control_file", "{connection_file}"],
            "display_name": "Rust with vialbook",
            "language": "rust",
            "interrupt_mode": "message",
            "env": environment,
        });
        let text = format!("{specification:#}\n");
        if std::fs::read_to_string(&path).is_ok_and(|there| there == text) {
            return Ok(((), Freshness::AlreadyThere));
        }
        write_whole(&path, text.as_bytes())?;
        Ok(((), Freshness::Made))
    }
}

/// Where our kernelspec lies.
pub(super) fn kernelspec_folder() -> Result<PathBuf> {
    Ok(places::jupyter_data()?.join("kernels").join(KERNEL_NAME))
}

/// The kit that the kernelspec names, if there is a kernelspec.
pub(super) fn registered_kit() -> Result<Option<PathBuf>> {
    let path = kernelspec_folder()?.join("kernel.json");
    let Ok(text) = std::fs::read_to_string(&path) else { return Ok(None) };
    let read: serde_json::Value = serde_json::from_str(&text)
        .map_err(|e| Error::new(ErrorKind::Format, "this is not JSON").in_file(&path).because(e))?;
    Ok(read["env"]["VIALBOOK_KIT"].as_str().map(PathBuf::from))
}

pub(super) fn remove_registration() -> Result<Vec<PathBuf>> {
    places::remove_folder(&kernelspec_folder()?)
}

/// Removes every environment that a set-up has made.
pub(super) fn remove_environments() -> Result<Vec<PathBuf>> {
    let cache = cache_folder()?;
    let mut removed = Vec::new();
    for path in std::fs::read_dir(&cache).into_iter().flatten().flatten().map(|e| e.path()) {
        if is_environment(&path) {
            removed.extend(places::remove_folder(&path)?);
        }
    }
    Ok(removed)
}

fn is_environment(path: &Path) -> bool {
    path.is_dir() && path.file_name().is_some_and(|n| n.to_string_lossy().starts_with("jupyter-"))
}

/// One folder a list of requirements and settings: new ones never change an environment that is in use.
fn folder() -> Result<PathBuf> {
    let hash = Sha256::digest([REQUIREMENTS, SETTINGS].concat());
    let name: String = hash.iter().take(4).map(|b| format!("{b:02x}")).collect();
    Ok(cache_folder()?.join(format!("jupyter-{name}")))
}
