//! Doubts about the names of a run, each with what to do next.

use std::fmt;

use serde::Serialize;

use crate::estimate::significant;

/// What to be careful about with the names of a run. `Display` says what to do.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum NamingNote {
    /// There was nothing to compare with.
    NoReferences,
    /// The start offset rests on this many peaks.
    OffsetFromFewPeaks(usize),
    /// The start offset, in seconds, is close to its limit, in seconds.
    OffsetNearLimit {
        /// The offset.
        offset_s: f64,
        /// Its limit.
        limit_s: f64,
    },
    /// The shift falls with retention from one value to another.
    OffsetFalls {
        /// Shift of the first reference.
        first_s: f64,
        /// Shift of the last reference.
        last_s: f64,
    },
    /// The run's times are stretched against the standards'.
    TimeScale {
        /// Departure of the time scale from 1.
        scale: f64,
        /// Its standard uncertainty.
        u: f64,
    },
    /// A peak could be either of two compounds, or a compound either of two peaks, or an unknown.
    Undecided {
        /// Time of the peak.
        time_min: f64,
        /// Compounds with their probabilities, most probable first.
        candidates: Vec<(String, f64)>,
    },
    /// No standard shows this compound: the window is the study's own guess.
    NeverInStandards(String),
}

impl fmt::Display for NamingNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NamingNote::NoReferences => {
                write!(f, "no reference times: no peak could be named; run standards, or give expected times")
            }
            NamingNote::OffsetFromFewPeaks(count) => write!(
                f,
                "the start offset rests on {count} peak(s): name and offset cannot be told apart; compare with a run that shares more compounds with the standards"
            ),
            NamingNote::OffsetNearLimit { offset_s, limit_s } => write!(
                f,
                "start offset {offset_s:+.1} s, close to the limit of {limit_s:.1} s: check that the peaks are the standards' compounds and the method the same; raise the limit only with a reason"
            ),
            NamingNote::OffsetFalls { first_s, last_s } => write!(
                f,
                "the shift falls from {first_s:+.1} s to {last_s:+.1} s with retention, as when the button starts the oven too: look at the run's programme and start"
            ),
            NamingNote::TimeScale { scale, u } => write!(
                f,
                "times are {} % (u {} %) {} than the standards': oven or flow drifted; let the oven settle, check pressure and septum",
                significant(100.0 * scale.abs(), 2),
                significant(100.0 * u, 1),
                if *scale > 0.0 { "longer" } else { "shorter" }
            ),
            NamingNote::Undecided { time_min, candidates } => {
                write!(f, "the peak at {time_min:.3} min stays unnamed; candidates: ")?;
                for (k, (name, p)) in candidates.iter().enumerate() {
                    write!(f, "{}{name} ({p:.2})", if k == 0 { "" } else { ", " })?;
                }
                write!(f, "; spike the sample with one of them, or use a second column")
            }
            NamingNote::NeverInStandards(compound) => write!(
                f,
                "no standard shows {compound}: its window is the study's own guess; inject it alone or in a standard"
            ),
        }
    }
}
