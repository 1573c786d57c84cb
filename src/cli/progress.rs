//! A progress bar on anything longer than a second, and only where a person watches.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// Work shorter than this shows no line: it would only flicker.
const PATIENCE: Duration = Duration::from_secs(1);

/// A line of progress that appears after a second of work and vanishes when done.
pub(super) struct Progress {
    bar: ProgressBar,
}

impl Progress {
    /// Starts the clock; nothing is drawn yet.
    pub(super) fn start() -> Self {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
        bar.set_style(
            ProgressStyle::with_template("{spinner} {msg} ({elapsed})")
                .unwrap_or_else(|_| ProgressStyle::default_spinner()),
        );
        // A clock of its own: the line appears in the midst of a long step, too. It holds up no exit.
        let late = bar.clone();
        std::thread::spawn(move || {
            std::thread::sleep(PATIENCE);
            if !late.is_finished() {
                // Draws nothing where stderr is no terminal.
                late.set_draw_target(ProgressDrawTarget::stderr());
                late.enable_steady_tick(Duration::from_millis(120));
            }
        });
        Progress { bar }
    }

    /// Says what is being done now.
    pub(super) fn say(&mut self, message: &str) {
        self.bar.set_message(message.to_owned());
    }

    /// Words that stay, above the line of progress.
    pub(super) fn words(&self, text: &str) {
        self.bar.suspend(|| super::output::words(text));
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
