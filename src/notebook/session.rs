//! What a notebook's session sets up once.

use std::panic::PanicHookInfo;
use std::path::Path;
use std::sync::Once;

/// More threads than this help no study of a few dozen runs.
const MOST_THREADS: usize = 8;

/// Prepares a session: panics in one sentence ([`quiet_panics`]), threads for reading and analysing runs (one per
/// core, at most 8). The kernel calls it before the first cell; more calls do nothing.
pub fn start() {
    quiet_panics();
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    // An error means that the threads are there already.
    let _ = rayon::ThreadPoolBuilder::new().num_threads(cores.min(MOST_THREADS)).build_global();
}

/// From now on a panic prints one sentence on the standard error: what stopped the cell, and in which of its lines.
///
/// The line is quoted from the code that the kernel compiled; its number there is not the number in the cell.
pub fn quiet_panics() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| std::panic::set_hook(Box::new(tell)));
}

fn tell(panic: &PanicHookInfo<'_>) {
    let payload = panic.payload();
    let message = payload.downcast_ref::<&str>().copied().or(payload.downcast_ref::<String>().map(String::as_str));
    let place = panic.location().map(|l| (l.file(), l.line()));
    let folder = std::env::var_os("EVCXR_TMPDIR");
    let text = sentence(message.unwrap_or("a panic without a message"), place, folder.as_ref().map(Path::new));
    use std::io::Write;
    // Nobody is left to tell where the standard error is closed.
    let _ = std::io::stderr().lock().write_all(text.as_bytes());
}

/// "Stopped: … At: …". A place in the cell is quoted from the code in `folder`; another place is named.
fn sentence(message: &str, place: Option<(&str, u32)>, folder: Option<&Path>) -> String {
    let mut text = format!("Stopped: {}\n", message.trim_end());
    let Some((file, line)) = place else { return text };
    let quoted = Some(file).filter(|f| Path::new(f).ends_with("src/lib.rs")).and_then(|f| {
        // Relative to the folder where the kernel compiles the cell; `join` leaves an absolute path alone.
        let code = std::fs::read_to_string(folder?.join(f)).ok()?;
        let quoted = code.lines().nth(line.checked_sub(1)? as usize)?.trim().to_owned();
        Some(quoted).filter(|q| !q.is_empty())
    });
    match quoted {
        Some(code) => text.push_str(&format!("At: {code}\n")),
        None if Path::new(file).ends_with("src/lib.rs") => {}
        None => text.push_str(&format!("At: {file}, line {line}\n")),
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_is_told_with_its_line() -> std::io::Result<()> {
        let folder = tempfile::tempdir()?;
        std::fs::create_dir(folder.path().join("src"))?;
        std::fs::write(folder.path().join("src/lib.rs"), "fn f() {\n    let x = peaks.nearest(3.0).or_stop();\n}\n")?;
        let at = |line| sentence("none", Some(("src/lib.rs", line)), Some(folder.path()));
        assert_eq!(at(2), "Stopped: none\nAt: let x = peaks.nearest(3.0).or_stop();\n");
        assert_eq!(at(99), "Stopped: none\n");
        assert_eq!(sentence("none\n", Some(("a/b.rs", 7)), None), "Stopped: none\nAt: a/b.rs, line 7\n");
        assert_eq!(sentence("none", None, None), "Stopped: none\n");
        Ok(())
    }
}
