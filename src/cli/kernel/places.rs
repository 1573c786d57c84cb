//! Where the kernel's parts lie: in our cache, and one entry in Jupyter's data folder.

use std::path::{Path, PathBuf};

use crate::error::{Error, ErrorKind, Result};
use crate::report::cache_folder;

/// Our own cache folder for the kernel.
pub(super) fn kernel_cache() -> Result<PathBuf> {
    Ok(cache_folder()?.join("kernel"))
}

/// Folder of all kits.
pub(super) fn kits() -> Result<PathBuf> {
    Ok(kernel_cache()?.join("kits"))
}

/// Build folder of kits; kept, so that after a change only the library itself is compiled again.
pub(super) fn build_folder(part: &str) -> Result<PathBuf> {
    Ok(kernel_cache()?.join("build").join(part))
}

/// The source that kits are built from: the folder named, else where this program was built.
pub(super) fn source_folder(named: Option<&Path>) -> Result<PathBuf> {
    let folder = named.map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")), Path::to_path_buf);
    if folder.join("src/kernel/Cargo.toml").is_file() && folder.join("Cargo.lock").is_file() {
        return std::path::absolute(&folder).map_err(|e| Error::io("find", &folder, e));
    }
    Err(Error::new(ErrorKind::NotFound, "this is not the source of vialbook; the kernel is built from it")
        .in_file(&folder)
        .hint("name the folder: vialbook kernel set-up --source DIR"))
}

/// The folder in which Jupyter looks for a user's kernels (Jupyter's documentation, "Common directories").
pub(super) fn jupyter_data() -> Result<PathBuf> {
    let set = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    if let Some(folder) = set("JUPYTER_DATA_DIR") {
        return Ok(folder);
    }
    let home = set("HOME").ok_or_else(|| {
        Error::new(ErrorKind::Tool, "no home folder is known to register the kernel in").hint("set JUPYTER_DATA_DIR")
    })?;
    if cfg!(target_os = "macos") {
        return Ok(home.join("Library").join("Jupyter"));
    }
    Ok(set("XDG_DATA_HOME").unwrap_or_else(|| home.join(".local").join("share")).join("jupyter"))
}

/// Removes a folder if it is there; says so.
pub(super) fn remove_folder(folder: &Path) -> Result<Vec<PathBuf>> {
    if !folder.exists() {
        return Ok(Vec::new());
    }
    std::fs::remove_dir_all(folder).map_err(|e| Error::io("remove", folder, e))?;
    Ok(vec![folder.to_path_buf()])
}
