//! What probably went wrong: from the pattern over area, height, ratio and retention to likely causes and a next step.
//!
//! Common practice throughout: a pattern narrows down, it proves nothing. Each cause is one that this pattern, and not
//! its neighbours in the list, points to.

use std::fmt;

use super::calibration::{LEVEL, p_words};
use super::finding;
use super::runs::{accepted, calibrated, named};
use super::scatter::{far_shots, flasks};
use crate::estimate::significant;
use crate::numeric::{median, student_t_sf};
use crate::results::{Finding, Results, Severity};

/// Level of the tests on ratios that walk.
const WALK_LEVEL: f64 = 0.01;
/// A peak this much wider than in the other runs is wide.
const WIDE: f64 = 1.5;
/// A departure of the time scale beyond which flow or oven changed.
const STRETCHED: f64 = 0.01;
/// Areas that changed by this much beside it.
const AREA_CHANGED: f64 = 0.05;
/// A peak of a blank this large against the named peaks of the run before is a ghost, in %.
const GHOST_PERCENT: f64 = 2.0;

/// One pattern that was seen, its likely causes, and what to do next.
#[derive(Clone, Debug, PartialEq)]
pub struct Guidance {
    /// What the figures show.
    pub seen: String,
    /// The runs that show it.
    pub runs: Vec<String>,
    /// Likely causes, likeliest first.
    pub causes: Vec<String>,
    /// What tells it from its neighbours.
    pub told_apart_by: String,
    /// The next step.
    pub next: String,
}

/// What probably went wrong in a study, pattern by pattern; nothing where no pattern was seen.
#[derive(Clone, Debug, PartialEq)]
pub struct Guide {
    /// The patterns.
    pub patterns: Vec<Guidance>,
}

impl fmt::Display for Guide {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.patterns.is_empty() {
            return f.write_str("No pattern of a fault was seen (common practice; no proof that nothing went wrong).");
        }
        writeln!(f, "What probably went wrong (common practice: a pattern narrows down and proves nothing)")?;
        for p in &self.patterns {
            writeln!(f, "\n{} ({})", p.seen, p.runs.join(", "))?;
            writeln!(f, "  likely: {}", p.causes.join("; "))?;
            writeln!(f, "  told apart by: {}", p.told_apart_by)?;
            writeln!(f, "  next: {}", p.next)?;
        }
        write!(f, "\nNever inject samples that are not volatile, or that react with the column or the hot port.")
    }
}

fn pattern(seen: String, runs: Vec<String>, causes: &[&str], told_apart_by: &str, next: &str) -> Guidance {
    Guidance {
        seen,
        runs,
        causes: causes.iter().map(|c| (*c).to_owned()).collect(),
        told_apart_by: told_apart_by.to_owned(),
        next: next.to_owned(),
    }
}

/// The patterns that finished results show.
pub fn guide(results: &Results, internal_standard: Option<&str>) -> Guide {
    let mut patterns = Vec::new();
    far_areas(results, internal_standard, &mut patterns);
    walking_ratios(results, internal_standard, &mut patterns);
    late_and_large(results, internal_standard, &mut patterns);
    wide_first_peaks(results, &mut patterns);
    ghosts(results, &mut patterns);
    Guide { patterns }
}

/// The same as findings, for tables and reports.
pub(super) fn findings(results: &Results, internal_standard: Option<&str>, all: &mut Vec<Finding>) {
    for p in guide(results, internal_standard).patterns {
        let why = format!("{}; likely: {}; told apart by: {}", p.seen, p.causes.join("; "), p.told_apart_by);
        all.push(finding(
            Severity::Warn,
            "what probably went wrong",
            p.runs.join(", "),
            None,
            None,
            "pattern over area, ratio, width and retention (common practice)",
            why,
            Some(&p.next),
        ));
    }
}

/// All areas of a shot, the internal standard's too, far from those of the same flask.
fn far_areas(results: &Results, internal: Option<&str>, patterns: &mut Vec<Guidance>) {
    let far: Vec<_> = far_shots(results, internal).into_iter().filter(|s| s.p < LEVEL).collect();
    for (is_low, seen) in [(true, "all areas are down alike"), (false, "all areas are up alike")] {
        let mine: Vec<_> = far.iter().filter(|s| (s.ln < 0.0) == is_low).collect();
        if mine.is_empty() {
            continue;
        }
        let runs: Vec<String> = mine.iter().map(|s| s.run.clone()).collect();
        let with = if internal.is_some() { ", the internal standard's too" } else { "" };
        let causes: &[&str] = if is_low {
            &["a bubble or a half-filled syringe", "a leak at the septum", "a plugged or bent needle"]
        } else {
            &["more volume than meant", "liquid drawn in with the needle's own volume"]
        };
        patterns.push(pattern(
            format!("{seen}{with}"),
            runs,
            causes,
            "ratios and retention stay as they are; a detector at fault would change the later runs too",
            "inject this flask again; if areas stay low, change the septum and look at the needle, then inject a standard",
        ));
    }
}

/// Ratios that rise or fall with each shot from a flask, while the internal standard's area does not.
fn walking_ratios(results: &Results, internal: Option<&str>, patterns: &mut Vec<Guidance>) {
    let Some(is) = internal else { return };
    // One test per compound and one for the internal standard's own area, adjusted for their number after Bonferroni.
    let compounds: Vec<&str> = calibrated(results).collect();
    let tests = (compounds.len() + 1) as f64;
    let own = walk(results, is, None).is_some_and(|w| w.p * tests < WALK_LEVEL);
    for compound in compounds {
        let Some(w) = walk(results, compound, Some(is)).filter(|w| w.p * tests < WALK_LEVEL && !own) else { continue };
        patterns.push(pattern(
            format!(
                "the ratio of {compound} to {is} {} by {} % from shot to shot of a flask ({}), while the area of {is} does not walk",
                if w.slope > 0.0 { "rises" } else { "falls" },
                significant(100.0 * w.slope.abs(), 2),
                p_words(w.p)
            ),
            vec![format!("{} flasks", w.flasks)],
            &["evaporation of the more volatile one through a pierced septum of the vial", "fractionation in the needle"],
            "volume is fine: the internal standard's area does not follow; a bad volume would leave the ratio alone",
            "fresh vials or septa, fewer shots from each; keep flasks cold and closed; inject at one speed",
        ));
    }
}

struct Walk {
    /// Change of ln(response) per shot.
    slope: f64,
    p: f64,
    flasks: usize,
}

/// Slope of ln(response) over the shots of a flask, pooled over flasks.
fn walk(results: &Results, compound: &str, internal: Option<&str>) -> Option<Walk> {
    let (mut sxx, mut sxy, mut syy, mut dof, mut count) = (0.0, 0.0, 0.0, -1.0, 0);
    for flask in flasks(results, compound, internal).iter().filter(|f| f.shots.len() > 1) {
        let n = flask.shots.len() as f64;
        let logs: Vec<f64> = flask.shots.iter().map(|s| libm::log(s.1)).collect();
        let (mx, my) = ((n - 1.0) / 2.0, logs.iter().sum::<f64>() / n);
        for (i, y) in logs.iter().enumerate() {
            let x = i as f64 - mx;
            sxx += x * x;
            sxy += x * (y - my);
            syy += (y - my).powi(2);
        }
        dof += n - 1.0;
        count += 1;
    }
    if dof < 4.0 || sxx == 0.0 {
        return None;
    }
    let slope = sxy / sxx;
    let variance = (syy - slope * sxy).max(0.0) / dof;
    let se = (variance / sxx).sqrt();
    let p = if se > 0.0 { 2.0 * student_t_sf((slope / se).abs(), dof) } else { 1.0 };
    Some(Walk { slope, p, flasks: count })
}

/// Peaks late by a time scale, and areas up: less flow, for a detector that sees concentration.
fn late_and_large(results: &Results, internal: Option<&str>, patterns: &mut Vec<Guidance>) {
    let compounds: Vec<&str> = calibrated(results).chain(internal).collect();
    let change = |run: &str| -> Option<f64> {
        let kind = results.runs.iter().find(|r| r.run == run).filter(|r| r.accepted)?;
        let logs: Vec<f64> = compounds
            .iter()
            .filter_map(|c| {
                let area = named(results, c).find(|p| p.run == run && p.area > 0.0)?.area;
                let alike = |p: &&crate::results::PeakResult| {
                    p.run != run && results.runs.iter().any(|r| r.accepted && r.run == p.run && r.sample == kind.sample)
                };
                let others: Vec<f64> = named(results, c).filter(alike).map(|p| p.area).filter(|a| *a > 0.0).collect();
                Some(libm::log(area / median(&others)?))
            })
            .collect();
        median(&logs)
    };
    for (is_late, word, flow) in [(true, "late", "less"), (false, "early", "more")] {
        let runs: Vec<String> = results
            .naming
            .runs
            .iter()
            .filter(|r| r.time_scale.is_some_and(|s| if is_late { s > STRETCHED } else { s < -STRETCHED }))
            .filter(|r| change(&r.run).is_some_and(|c| if is_late { c > AREA_CHANGED } else { c < -AREA_CHANGED }))
            .map(|r| r.run.clone())
            .collect();
        if runs.is_empty() {
            continue;
        }
        patterns.push(pattern(
            format!("all peaks are {word} in proportion, and areas are {}", if is_late { "up" } else { "down" }),
            runs,
            &[
                &format!("{flow} carrier flow: pressure, a septum or a fitting that leaks (a concentration-sensitive detector's area goes as 1/flow)"),
            ],
            "an oven at fault moves late peaks more and leaves areas as they are; a late thumb shifts by seconds, not in proportion",
            "check pressure and leaks, let the flow settle, and inject a standard before going on",
        ));
    }
}

/// First peaks wide while the later ones are as ever.
fn wide_first_peaks(results: &Results, patterns: &mut Vec<Guidance>) {
    let mut order: Vec<&str> = results.naming.references.iter().map(|r| r.compound.as_str()).collect();
    if order.len() < 2 {
        return;
    }
    order.dedup();
    let (first, last) = (order[0], order[order.len() - 1]);
    let widths = |c: &str| -> Vec<(String, f64)> {
        accepted(results, c).filter_map(|p| Some((p.run.clone(), p.width_half_min?))).collect()
    };
    let (early, late) = (widths(first), widths(last));
    let middle = |w: &[(String, f64)]| median(&w.iter().map(|w| w.1).collect::<Vec<_>>());
    let (Some(usual), Some(usual_late)) = (middle(&early), middle(&late)) else { return };
    let runs: Vec<String> = early
        .iter()
        .filter(|w| w.1 > WIDE * usual)
        .filter(|w| late.iter().any(|l| l.0 == w.0 && l.1 < 1.2 * usual_late))
        .map(|w| w.0.clone())
        .collect();
    if runs.is_empty() {
        return;
    }
    patterns.push(pattern(
        format!("the first peak, {first}, is wide, the last one, {last}, as ever"),
        runs,
        &["a slow injection", "more vapour than the early peaks' width allows: a large volume at a low flow"],
        "a column at fault widens the late peaks too; a late thumb shifts peaks and leaves their width alone",
        "push the plunger in one quick movement, or inject less",
    ));
}

/// Peaks in blanks.
fn ghosts(results: &Results, patterns: &mut Vec<Guidance>) {
    let is_blank = |kind: &str| ["solvent_blank", "matrix_blank"].contains(&kind);
    let largest_named = results.peaks.iter().filter(|p| p.compound.is_some()).map(|p| p.area).fold(0.0, f64::max);
    let solvent = |p: &&crate::results::PeakResult| {
        // The solvent's own peak is in every blank.
        p.area < largest_named
    };
    let mut runs = Vec::new();
    let mut seen = Vec::new();
    for (i, run) in results.runs.iter().enumerate().filter(|(_, r)| r.accepted && is_blank(&r.kind)) {
        let Some(before) = results.runs[..i].iter().rev().find(|r| !is_blank(&r.kind)) else { continue };
        for p in results.peaks.iter().filter(|p| p.run == run.run && p.signal_to_noise.is_some()).filter(solvent) {
            let Some(at) = p.retention_time_min else { continue };
            let near = |q: &&crate::results::PeakResult| {
                q.run == before.run && q.retention_time_min.is_some_and(|t| (t - at).abs() < 0.05)
            };
            let Some(twin) = results.peaks.iter().find(near) else { continue };
            let percent = 100.0 * p.area / twin.area;
            if twin.area > 0.0 && (GHOST_PERCENT..90.0).contains(&percent) && p.compound.is_some() {
                seen.push(format!("{} % at {} min", significant(percent, 2), significant(at, 4)));
                runs.push(run.run.clone());
            }
        }
    }
    runs.dedup();
    if runs.is_empty() {
        return;
    }
    patterns.push(pattern(
        format!("ghost peaks: a blank shows again what the run before held ({})", seen.join(", ")),
        runs,
        &["carry-over in the syringe", "a compound left in the port, the septum or the column"],
        "carry-over in the syringe is gone after rinsing; what comes from the column comes again, and wider",
        "rinse with the next solution and run a second blank; bake the column only when the fault stays",
    ));
}
