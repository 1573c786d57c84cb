//! Runs and methods against the instrument's limits, and what was put on the column.

use super::{Injection, Method, PressureKind, Study};
use crate::compounds;
use crate::estimate::significant;
use crate::peaks::PeakList;
use crate::results::{Finding, PeakResult, Severity};
use crate::units::{ContentUnit, Quantity};

/// Room temperature where study.toml states none, in °C (common practice).
const ROOM_C: f64 = 25.0;
/// An oven cannot be held nearer to the room than this, in K (common practice).
const ABOVE_ROOM_K: f64 = 5.0;
/// Highest oven temperature where study.toml states none, in °C (common practice for this kind of instrument).
const OVEN_MAX_C: f64 = 160.0;
/// A run may go on for this long after its programme, in minutes, before it is mentioned (our choice).
const AFTER_MIN: f64 = 0.5;
/// How far below its baseline a trace must dip beside a peak to be mentioned: standard deviations of the noise …
const DIP_SD: f64 = 10.0;
/// … and percent of the peak's height.
const DIP_PERCENT: f64 = 5.0;

impl Study {
    /// Programmes, temperatures, pressures, load.
    pub(super) fn instrument(&self, lists: &[PeakList], peaks: &[PeakResult]) -> Vec<Finding> {
        let mut all = Vec::new();
        for method in &self.config.methods {
            self.temperatures(method, &mut all);
            self.pressure(method, &mut all);
        }
        self.ignition(&mut all);
        self.lengths(&mut all);
        self.load(peaks, &mut all);
        self.dips(lists, peaks, &mut all);
        all
    }

    fn temperatures(&self, method: &Method, all: &mut Vec<Finding>) {
        let (Some(first), instrument) = (method.oven.first(), &self.config.instrument) else { return };
        let (room, room_origin) = stated(instrument.room_c, ROOM_C);
        let least = room + ABOVE_ROOM_K;
        let start = first.temperature_c;
        all.push(finding(
            if start < room { Severity::Fail } else if start < least { Severity::Warn } else { Severity::Pass },
            "start temperature",
            &method.name,
            Some(start),
            Some(least),
            &format!("room temperature {room} °C ({room_origin}) and {ABOVE_ROOM_K} K, which an oven without cooling needs (common practice)"),
            format!("the programme starts at {start} °C"),
            (start < least).then_some("start higher, or state room_C under [instrument]: the oven waits for a temperature it reaches late or never"),
        ));
        let hottest = method.oven.iter().map(|s| s.temperature_c).fold(f64::NEG_INFINITY, f64::max);
        let (oven_max, oven_origin) = stated(instrument.oven_max_c, OVEN_MAX_C);
        all.push(finding(
            if hottest > oven_max { Severity::Fail } else { Severity::Pass },
            "oven temperature",
            &method.name,
            Some(hottest),
            Some(oven_max),
            &format!("highest oven temperature ({oven_origin})"),
            format!("the programme goes to {hottest} °C"),
            (hottest > oven_max).then_some("keep the programme within the instrument's range"),
        ));
        if let Some(limit) = self.config.column.max_temperature_in_air_c {
            all.push(finding(
                if hottest > limit { Severity::Fail } else { Severity::Pass },
                "column temperature in air",
                &method.name,
                Some(hottest),
                Some(limit),
                "highest temperature of the phase in hot air (study.toml, column)",
                format!("the programme goes to {hottest} °C"),
                (hottest > limit).then_some("phases age in hot air: stay below, or retention drifts from run to run"),
            ));
        }
    }

    fn pressure(&self, method: &Method, all: &mut Vec<Finding>) {
        let (Some(limit), Some(pressure)) = (self.config.instrument.pressure_max_kpa, method.inlet_pressure_kpa) else {
            return;
        };
        // The limit is above the room's pressure.
        let room = method.barometer_kpa.unwrap_or(101.325);
        let gauge = if method.pressure_is == Some(PressureKind::Absolute) { pressure - room } else { pressure };
        let good = gauge <= limit;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Fail },
            "inlet pressure",
            &method.name,
            Some(gauge),
            Some(limit),
            "highest pressure above the room's (study.toml, instrument)",
            format!("{} kPa above the room's", significant(gauge, 4)),
            (!good).then_some("lower the pressure"),
        ));
    }

    /// Hot parts against the temperatures at which compounds catch fire by themselves: the carrier is air.
    fn ignition(&self, all: &mut Vec<Finding>) {
        let instrument = &self.config.instrument;
        let oven = self
            .config
            .methods
            .iter()
            .flat_map(|m| &m.oven)
            .map(|s| (s.temperature_c, "oven"))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        let parts = oven
            .into_iter()
            .chain(instrument.injector_c.map(|t| (t, "injection port")))
            .chain(instrument.detector_c.map(|t| (t, "detector")));
        let Some((hottest, part)) = parts.max_by(|a, b| a.0.total_cmp(&b.0)) else { return };
        let share = self.config.limits.autoignition_percent;
        let mut nearest: Option<(f64, String, String)> = None;
        for c in &self.config.compounds {
            let Some(t) = compounds::find(c.cas.as_deref().unwrap_or(&c.name)).and_then(|p| p.autoignition_c) else {
                continue;
            };
            let percent = 100.0 * hottest / t.value;
            if nearest.as_ref().is_none_or(|n| percent > n.0) {
                nearest = Some((percent, c.name.clone(), format!("{} °C, {}", t.value, t.source)));
            }
        }
        let Some((percent, name, source)) = nearest else { return };
        let good = percent <= share;
        all.push(finding(
            match percent {
                p if p <= share => Severity::Pass,
                p if p < 100.0 => Severity::Warn,
                _ => Severity::Fail,
            },
            "hot part and autoignition",
            &format!("{part}, {name}"),
            Some(percent),
            Some(share),
            "share of the autoignition temperature in °C (common practice: 80 %)",
            format!(
                "the {part} at {hottest} °C is at {} % of the autoignition temperature of {name} ({source})",
                significant(percent, 3)
            ),
            (!good).then_some("lower the temperature: the carrier gas is air, and the vapour may catch fire"),
        ));
    }

    /// Runs that went on after their programme.
    fn lengths(&self, all: &mut Vec<Finding>) {
        let mut over = Vec::new();
        let mut worst = 0.0_f64;
        let mut known = 0;
        for (i, run) in self.runs.iter().enumerate() {
            let Some(method) = self.method_of(i).filter(|m| m.oven.len() > 1) else { continue };
            let mut at = method.oven[0].temperature_c;
            let mut length = 0.0;
            for s in &method.oven {
                length += s.hold_min + s.ramp_c_per_min.map_or(0.0, |r| (s.temperature_c - at).abs() / r);
                at = s.temperature_c;
            }
            known += 1;
            let end = run.trace.time_min()[run.trace.len() - 1];
            worst = worst.max(end - length);
            if end > length + AFTER_MIN {
                over.push(run.name.as_str());
            }
        }
        if known == 0 {
            return;
        }
        let good = over.is_empty();
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "run and programme",
            &if good { format!("{known} runs") } else { over.join(", ") },
            Some(worst),
            Some(AFTER_MIN),
            "minutes recorded after the oven's programme ended (our choice)",
            if good {
                "no run goes on after its programme".to_owned()
            } else {
                format!("{} run(s) go on after the programme: the oven's temperature there is not stated", over.len())
            },
            (!good).then_some("state the last hold as long as it was, or end the recording with the programme"),
        ));
    }

    /// What was on the column where peaks front.
    fn load(&self, peaks: &[PeakResult], all: &mut Vec<Finding>) {
        let limit = self.config.limits.fronting;
        for c in &self.config.compounds {
            let mut worst: Option<(f64, &Injection, f64)> = None;
            for p in peaks.iter().filter(|p| p.compound.as_deref() == Some(&c.name)) {
                let Some(t) = p.tailing_factor_5pct.filter(|t| *t < limit) else { continue };
                let Some(i) = self.injections.iter().find(|i| i.run == p.run && i.accepted) else { continue };
                let Some(ug) = self.micrograms(i, &c.name) else { continue };
                if worst.is_none_or(|w| ug > w.0) {
                    worst = Some((ug, i, t));
                }
            }
            let Some((ug, i, t)) = worst else { continue };
            all.push(finding(
                Severity::Warn,
                "load on the column",
                &format!("{}, {}", c.name, i.run),
                Some(ug),
                None,
                "volume in the log times stated content; a column takes a few µg of a compound (common practice)",
                format!(
                    "some {} µg were injected where its peak fronts (tailing factor {})",
                    significant(ug, 2),
                    significant(t, 2)
                ),
                Some("inject less or dilute until the front is as steep as that of the other peaks"),
            ));
        }
    }

    /// Mass of a compound injected, in µg: 1 µL of 1 g/L is 1 µg.
    fn micrograms(&self, injection: &Injection, compound: &str) -> Option<f64> {
        let content = injection.content(compound)?;
        let properties = compounds::find(self.config.compound(compound)?.cas.as_deref().unwrap_or(compound));
        let ContentUnit { quantity, factor, .. } = content.unit;
        let base = content.value * factor;
        let g_per_l = match quantity {
            Quantity::MassConcentration => base,
            Quantity::AmountConcentration => base * properties?.molar_mass_g_mol,
            Quantity::VolumeFraction => {
                let density = self.config.compound(compound).and_then(|c| c.density_g_ml);
                1000.0 * base * density.or_else(|| Some(properties?.density_20_g_ml?.value))?
            }
            // Without the solution's density a fraction by mass says nothing about a volume.
            _ => return None,
        };
        Some(injection.volume_ul? * g_per_l)
    }

    /// A trace that dips below the baseline right beside a calibrated peak.
    fn dips(&self, lists: &[PeakList], peaks: &[PeakResult], all: &mut Vec<Finding>) {
        for c in self.config.compounds.iter().filter(|c| c.role != super::Role::Solvent) {
            let mut worst: Option<(f64, &str)> = None;
            for (list, injection) in lists.iter().zip(&self.injections).filter(|(_, i)| i.accepted) {
                let (Some(trace), true) = (&list.trace, list.noise.sd > 0.0) else { continue };
                let named = peaks.iter().filter(|p| p.run == injection.run && p.compound.as_deref() == Some(&c.name));
                for p in named {
                    let (Some(height), Some(width)) = (p.height.filter(|h| *h > 0.0), p.width_half_min) else {
                        continue;
                    };
                    let Ok(part) = trace.slice(p.start_min - 1.5 * width, p.end_min + 1.5 * width) else { continue };
                    let low = part.signal().iter().copied().fold(f64::INFINITY, f64::min);
                    let depth = p.baseline[0].min(p.baseline[1]) - low;
                    let percent = 100.0 * depth / height;
                    if depth > DIP_SD * list.noise.sd && percent > DIP_PERCENT && worst.is_none_or(|w| percent > w.0) {
                        worst = Some((percent, &injection.run));
                    }
                }
            }
            let Some((percent, run)) = worst else { continue };
            all.push(finding(
                Severity::Warn,
                "dip beside the peak",
                &format!("{}, {run}", c.name),
                Some(percent),
                Some(DIP_PERCENT),
                "depth below the baseline in % of the peak's height (our choice)",
                format!("the trace dips {} % of the peak's height below its baseline", significant(percent, 2)),
                Some("room air, water or a pressure pulse: compare with a blank, and choose the baseline by hand where the dip is the solvent's"),
            ));
        }
    }
}

/// A limit with where it comes from.
fn stated(value: Option<f64>, default: f64) -> (f64, &'static str) {
    value.map_or((default, "not stated; common practice"), |v| (v, "study.toml"))
}

#[allow(clippy::too_many_arguments)] // the contract has eight fields
fn finding(
    severity: Severity,
    what: &str,
    place: &str,
    figure: Option<f64>,
    limit: Option<f64>,
    origin: &str,
    why: String,
    next: Option<&str>,
) -> Finding {
    Finding {
        severity,
        what: what.to_owned(),
        figure,
        limit,
        origin: origin.to_owned(),
        place: place.to_owned(),
        why,
        next: next.map(str::to_owned),
    }
}
