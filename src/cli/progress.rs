//! A progress bar on anything longer than a second, and only where a person watches.

use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A line of progress that appears after a second of work and vanishes when done.
pub(super) struct Progress {
    bar: ProgressBar,
    started: Instant,
    shown: bool,
}

impl Progress {
    /// Starts the clock; nothing is drawn yet.
    pub(super) fn start() -> Self {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
        bar.set_style(
            ProgressStyle::with_template("{spinner} {msg} ({elapsed})")
                .unwrap_or_else(|_| ProgressStyle::default_spinner()),
        );
        Progress { bar, started: Instant::now(), shown: false }
    }

    /// Says what is being done now.
    pub(super) fn say(&mut self, message: &str) {
        if !self.shown && self.started.elapsed() > Duration::from_secs(1) {
            // Draws nothing where stderr is no terminal.
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
            self.bar.enable_steady_tick(Duration::from_millis(120));
            self.shown = true;
        }
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
