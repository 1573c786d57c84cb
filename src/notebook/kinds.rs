//! What each result shows: its statement, its figure, its table.

#[cfg(feature = "report")]
use super::pictures::image;
use super::pictures::picture;
use super::{Bundle, Show};
use crate::calibrate::{Curve, Inverse, Limits};
use crate::check::Guide;
use crate::compounds::Properties;
use crate::estimate::{Estimate, decimals, interval_text, plus_minus, significant};
use crate::identify::{NamedPeak, NamedPeaks};
use crate::peaks::{Peak, PeakList};
use crate::quantify::{Amount, Decision, VolumeCancels};
use crate::results::{
    AmountResult, CalibrationResult, Finding, PeakResult, ResidualTestResult, Results, RunResult, Severity,
};
use crate::signal::{Baseline, Noise};
use crate::study::{Analysis, Study, StudyConfig, curve_result};
use crate::table::escape;
use crate::tabulate::{Tabular, facts, freedom, result_facts};
use crate::trace::{Provenance, ReadingNote};

/// Results whose table says it all.
macro_rules! as_tables {
    ($($result:ty),* $(,)?) => { $(
        impl Show for $result {
            fn bundle(&self) -> Bundle {
                self.table().bundle()
            }
        }
    )* };
}

as_tables!(Study, PeakList, NamedPeaks, NamedPeak, RunResult, PeakResult, ReadingNote, Noise, Properties);

/// Values whose text says it all.
macro_rules! as_sentences {
    ($($result:ty),* $(,)?) => { $(
        impl Show for $result {
            fn bundle(&self) -> Bundle {
                Bundle::said(&self.to_string())
            }
        }
    )* };
}

as_sentences!(Decision, Guide, VolumeCancels);

/// A heading in bold.
fn headed(text: &str) -> Bundle {
    Bundle::new(format!("<p><b>{}</b></p>\n", escape(text)), format!("{text}\n"))
}

impl Show for Estimate {
    fn bundle(&self) -> Bundle {
        Bundle::said(&self.text(0.95))
    }
}

impl Show for Peak {
    fn bundle(&self) -> Bundle {
        let optional = |v: Option<f64>, places: usize, unit: &str| v.map(|v| format!("{}{unit}", decimals(v, places)));
        let apex = self.method != crate::peaks::Integration::ForcedWindow;
        let mut rows = Vec::new();
        let mut row = |name: &'static str, text: Option<String>| rows.extend(text.map(|t| (name, t)));
        row("retention time", optional(apex.then_some(self.retention_time_min), 3, " min"));
        row("from", optional(Some(self.start_min), 3, " min"));
        row("to", optional(Some(self.end_min), 3, " min"));
        row("area (standard uncertainty)", Some(plus_minus(self.area, self.area_u, "")));
        row("height", apex.then(|| significant(self.height, 4)));
        row("width at half height", optional(self.width_half_min, 4, " min"));
        row("plate number", self.plates_half_height.map(|n| significant(n, 3)));
        row("tailing factor at 5 %", optional(self.tailing_factor_5pct, 2, ""));
        row("asymmetry at 10 %", optional(self.asymmetry_10pct, 2, ""));
        row("resolution from the peak before", optional(self.resolution_half_height, 1, ""));
        row("signal to noise", Some(significant(self.signal_to_noise, 3)));
        row("integrated", Some(self.method.words().to_owned()));
        let mut table = facts("One peak; areas in signal unit × minute", rows);
        table.notes.extend(self.notes.iter().map(ToString::to_string));
        table.bundle()
    }
}

/// Facts, figure, flasks.
impl Show for CalibrationResult {
    fn bundle(&self) -> Bundle {
        let tests = tests(&self.residual_tests);
        result_facts(self).bundle().above(&picture(&self.plot())).above(&self.table().bundle()).above(&tests)
    }
}

/// Tests of residuals; nothing where there are none.
fn tests(tests: &[ResidualTestResult]) -> Bundle {
    if tests.is_empty() { Bundle::new("", "") } else { tests.table().bundle() }
}

impl Show for Curve {
    fn bundle(&self) -> Bundle {
        let mut rows: Vec<(&str, String)> =
            vec![("model", self.model.words().to_owned()), ("weights", self.weighting.words().to_owned())];
        rows.extend(self.coefficients.iter().map(|k| {
            let text = match k.standard_error {
                Some(se) => format!("{} (standard uncertainty)", plus_minus(k.value, se, "")),
                None => significant(k.value, 5),
            };
            (k.name, text)
        }));
        rows.extend(self.residual_sd.map(|s| ("residual standard deviation", significant(s, 3))));
        rows.extend(
            self.rho
                .map(|r| ("relative standard deviation between flasks", format!("{} %", significant(100.0 * r, 2)))),
        );
        rows.push(("degrees of freedom", freedom(self.dof)));
        rows.push((
            "range of the standards",
            format!("{} to {}", significant(self.range[0], 3), significant(self.range[1], 3)),
        ));
        rows.extend(self.lack_of_fit.as_ref().map(|l| ("lack of fit", l.to_string())));
        let head = facts(format!("Calibration of {}", self.compound), rows).bundle();
        let result = curve_result(self);
        let tests = tests(&result.residual_tests);
        head.above(&picture(&result.plot())).above(&self.table().bundle()).above(&tests)
    }
}

impl Show for Limits {
    fn bundle(&self) -> Bundle {
        let mut rows = vec![("critical content", significant(self.critical_content, 3))];
        rows.extend(self.detection_limit.map(|x| ("detection limit", significant(x, 3))));
        rows.extend(
            self.detection_range
                .map(|[a, b]| ("the true detection limit lies in", interval_text([Some(a), Some(b)], f64::NAN, ""))),
        );
        rows.extend(self.quantitation_limit.map(|x| ("quantitation limit", significant(x, 3))));
        rows.push(("method", self.method.clone()));
        rows.push(("method of the quantitation limit", self.quantitation_method.clone()));
        let mut table = facts("Limits, in units of the content", rows);
        table.notes.extend(self.conventional.iter().map(|c| format!("{c}: {}", significant(c.content, 3))));
        table.notes.extend(self.notes.iter().map(ToString::to_string));
        table.bundle()
    }
}

impl Show for Inverse {
    fn bundle(&self) -> Bundle {
        let mut rows = vec![
            ("content", self.estimate("").text(self.level)),
            ("interval", interval_text(self.interval, self.u.unwrap_or(f64::NAN), "")),
            ("mean response", significant(self.mean_response, 4)),
            ("flasks", self.flasks.to_string()),
        ];
        rows.extend(self.g.map(|g| ("doubt in the slope, g", significant(g, 2))));
        let mut table = facts("Content found from responses", rows);
        table.notes.extend(self.notes.iter().map(ToString::to_string));
        table.bundle()
    }
}

/// The statement, what it rests on, and where its uncertainty comes from.
impl Show for AmountResult {
    fn bundle(&self) -> Bundle {
        let head = headed(&format!("{} in {}: {} {}", self.compound, self.sample, self.quantity, self.text));
        let mut rows = vec![
            ("of", self.of.clone()),
            ("flasks", self.n_preparations.to_string()),
            ("shots", self.n_injections.to_string()),
            ("detected", if self.detected { "yes" } else { "no" }.to_owned()),
            (
                "interval",
                format!(
                    "{} ({})",
                    interval_text(self.interval, self.u.unwrap_or(f64::NAN), &self.unit),
                    crate::estimate::percent(self.coverage_probability)
                ),
            ),
        ];
        let in_unit = |x: f64| format!("{} {}", significant(x, 2), self.unit);
        rows.extend(self.critical_value.map(|x| ("critical value", in_unit(x))));
        rows.extend(self.detection_limit.map(|x| ("detection limit", in_unit(x))));
        if self.dilution_applied != 1.0 {
            rows.push(("dilution multiplied in", significant(self.dilution_applied, 4)));
        }
        rows.extend(self.expected.map(|x| ("known content", format!("{} {}", significant(x, 4), self.unit))));
        rows.extend(self.recovery_percent.map(|r| ("recovery", format!("{} %", decimals(r, 1)))));
        let mut bundle = head.above(&facts("", rows).bundle());
        if !self.budget.is_empty() {
            let mut budget = self.budget.table();
            budget.columns[3].unit = self.unit.clone();
            bundle = bundle.above(&budget.bundle());
        }
        bundle.above(&notes(&self.notes))
    }
}

impl Show for Amount {
    fn bundle(&self) -> Bundle {
        let mut budget = self.budget.table();
        budget.columns[3].unit = self.unit.clone();
        let bundle = headed(&self.to_string()).above(&self.table().bundle());
        let bundle = if self.budget.is_empty() { bundle } else { bundle.above(&budget.bundle()) };
        bundle.above(&notes(&self.notes))
    }
}

fn notes<N: ToString>(notes: &[N]) -> Bundle {
    let notes: Vec<String> = notes.iter().map(ToString::to_string).collect();
    if notes.is_empty() {
        return Bundle::new("", "");
    }
    let items: String = notes.iter().map(|n| format!("<li>{}</li>\n", escape(n))).collect();
    let lines: String = notes.iter().map(|n| format!("- {n}\n")).collect();
    Bundle::new(format!("<ul>\n{items}</ul>\n"), lines)
}

impl Show for Finding {
    fn bundle(&self) -> Bundle {
        let mut rows = vec![("why", self.why.clone())];
        rows.extend(self.figure.map(|x| ("seen", significant(x, 3))));
        rows.extend(self.limit.map(|x| ("limit", significant(x, 3))));
        rows.push(("the limit comes from", self.origin.clone()));
        rows.push(("where", self.place.clone()));
        rows.extend(self.next.clone().map(|next| ("what to do", next)));
        rows.retain(|r| !r.1.is_empty());
        facts(format!("{}: {}", self.severity.word(), self.what), rows).bundle()
    }
}

/// What came out: amounts, calibrations, findings that need eyes.
impl Show for Results {
    fn bundle(&self) -> Bundle {
        let count = |s: Severity| self.findings.iter().filter(|f| f.severity == s).count();
        let told = format!(
            "{} runs, {} calibrations, {} amounts. Findings: {} pass, {} warn, {} fail.",
            self.runs.len(),
            self.calibrations.len(),
            self.amounts.len(),
            count(Severity::Pass),
            count(Severity::Warn),
            count(Severity::Fail)
        );
        let head = Bundle::said(&told);
        let mut bundle = headed(&self.study.title).above(&head).above(&self.table().bundle());
        if !self.calibrations.is_empty() {
            bundle = bundle.above(&self.calibrations.table().bundle());
        }
        let doubts: Vec<Finding> = self.findings.iter().filter(|f| f.severity != Severity::Pass).cloned().collect();
        if !doubts.is_empty() {
            let mut table = doubts.table();
            table.caption = "Findings that need eyes".to_owned();
            bundle = bundle.above(&table.bundle());
        }
        bundle
    }
}

impl Show for Analysis {
    fn bundle(&self) -> Bundle {
        self.results().bundle()
    }
}

impl Show for StudyConfig {
    fn bundle(&self) -> Bundle {
        let mut rows = vec![("title", self.title.clone())];
        rows.extend(self.question.clone().map(|q| ("question", q)));
        rows.extend(self.date.clone().map(|d| ("date", d)));
        rows.extend(self.compounds.iter().map(|c| ("compound", c.name.clone())));
        if self.simulated {
            rows.push(("simulated", "yes".to_owned()));
        }
        facts("study.toml", rows).bundle()
    }
}

impl Show for Provenance {
    fn bundle(&self) -> Bundle {
        let rows = vec![
            ("file", self.file.display().to_string()),
            ("SHA-256", self.sha256.clone()),
            ("size", format!("{} bytes", self.bytes)),
        ];
        facts("Where the trace came from", rows).bundle().above(&self.reading.bundle())
    }
}

impl Show for Baseline {
    fn bundle(&self) -> Bundle {
        let end = if self.converged { "" } else { " The fits did not settle; the line is the last one." };
        let said = format!("Baseline: {}; {} fits.{end}", self.origin, self.rounds);
        Bundle::said(&said).above(&picture(&self.line.plot()))
    }
}

#[cfg(feature = "frame")]
impl Show for crate::frame::Frame {
    fn bundle(&self) -> Bundle {
        self.table().bundle()
    }
}

/// The first page, and what the author still owes.
#[cfg(feature = "report")]
impl Show for crate::report::Report {
    fn bundle(&self) -> Bundle {
        let missing = self.missing();
        let owed =
            if missing.is_empty() { Bundle::new("", "") } else { headed("Still missing").above(&notes(&missing)) };
        match self.preview(1) {
            Ok(pages) => {
                let alt = "First page of the report";
                let html: String = pages.iter().map(|page| bordered(page, alt)).collect();
                Bundle::new(html, format!("{alt}\n")).above(&owed)
            }
            Err(error) => error.bundle().above(&owed),
        }
    }
}

/// A page needs an edge on a white background.
#[cfg(feature = "report")]
fn bordered(page: &str, alt: &str) -> String {
    format!("<div style=\"border:1px solid;max-width:40em\">{}</div>\n", image(page, alt).trim_end())
}

#[cfg(feature = "report")]
impl Show for crate::report::SavedReport {
    fn bundle(&self) -> Bundle {
        Bundle::said(&self.to_string())
    }
}
