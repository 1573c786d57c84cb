//! What is told in pairs: a name and what goes with it.

use super::{Tabular, table};
use crate::compounds::{DATA_NOTE, ExposureLimit, Properties, SourcedNumber};
use crate::estimate::{Estimate, decimals, significant};
use crate::signal::Noise;
use crate::table::{Column, Rounding, Table};

/// Pairs as a table of two columns.
pub(crate) fn facts(caption: impl Into<String>, rows: Vec<(&str, String)>) -> Table {
    let (names, texts): (Vec<&str>, Vec<String>) = rows.into_iter().unzip();
    table(caption, vec![Column::text("what", names), Column::text("value", texts)])
}

/// Degrees of freedom: whole where they are counted, two digits where they are effective ones.
pub(crate) fn freedom(dof: f64) -> String {
    if dof.fract() == 0.0 { decimals(dof, 0) } else { significant(dof, 2) }
}

impl Tabular for Estimate {
    fn table(&self) -> Table {
        let u = Some(self.standard_uncertainty).filter(|u| u.is_finite() && *u >= 0.0);
        let [value, u] = Column::measured("value", &self.unit, vec![Some(self.value)], vec![u]);
        let dof = Column::numbers("dof", "", [self.dof]).headed("degrees of freedom").rounded(Rounding::Significant(2));
        let mut table = table("Estimate", vec![value, u.headed("u"), dof]);
        if self.dof == f64::INFINITY {
            table.notes.push("no limit to the degrees of freedom".to_owned());
        }
        table
    }
}

impl Tabular for Noise {
    fn table(&self) -> Table {
        let mut rows = vec![
            ("standard deviation", significant(self.sd, 3)),
            ("correlation of neighbouring points", significant(self.autocorrelation, 2)),
        ];
        rows.extend(self.step.map(|s| ("converter's step", significant(s, 3))));
        rows.extend([
            ("peak-to-peak noise", significant(self.peak_to_peak, 3)),
            (
                "seen from … to (min)",
                format!("{} to {}", significant(self.window_min[0], 4), significant(self.window_min[1], 4)),
            ),
            ("points", self.points.to_string()),
        ]);
        let mut table = facts("Noise, in units of the signal", rows);
        if self.is_floor {
            table.notes.push("the converter's step hides the noise: the standard deviation is step/√12".to_owned());
        }
        table
    }
}

/// Every value with its source; what is not known has no row but stands in the notes.
impl Tabular for Properties {
    fn table(&self) -> Table {
        let numbers: [(&str, &str, &Option<SourcedNumber>); 10] = [
            ("boiling point", "°C", &self.boiling_point_c),
            ("density at 20 °C", "g/mL", &self.density_20_g_ml),
            ("density at 25 °C", "g/mL", &self.density_25_g_ml),
            ("density near room temperature", "g/mL", &self.density_room_g_ml),
            ("enthalpy of vaporisation at the boiling point", "kJ/mol", &self.vaporisation_enthalpy_boiling_kj_mol),
            ("enthalpy of vaporisation at 25 °C", "kJ/mol", &self.vaporisation_enthalpy_25_kj_mol),
            ("flash point", "°C", &self.flash_point_c),
            ("autoignition temperature", "°C", &self.autoignition_c),
            ("lower flammable limit in air", "% by volume", &self.lower_flammable_limit_percent),
            ("upper flammable limit in air", "% by volume", &self.upper_flammable_limit_percent),
        ];
        let mut rows = vec![
            ("CAS registry number", self.cas.clone(), String::new()),
            ("formula", self.formula.clone(), String::new()),
            (
                "molar mass",
                format!("{} g/mol", significant(self.molar_mass_g_mol, 6)),
                "IUPAC atomic weights".to_owned(),
            ),
        ];
        for (name, unit, number) in numbers {
            if let Some(n) = number {
                let text = match n.u {
                    Some(u) => crate::estimate::concise(n.value, u, unit),
                    None => format!("{} {unit}", n.value),
                };
                let note = n.note.as_deref().map(|n| format!(" ({n})")).unwrap_or_default();
                rows.push((name, text, format!("{}{note}", n.source)));
            }
        }
        if let Some(h) = &self.hazards {
            rows.push(("signal word", h.signal_word.clone(), h.source.clone()));
            for s in &h.statements {
                let text = s.text.as_deref().unwrap_or("the Regulation leaves words to be filled in");
                rows.push(("hazard statement", format!("{}: {text}", s.code), s.source.clone()));
            }
        }
        let limit = |l: &ExposureLimit| {
            let year = l.year.map(|y| format!(", {y}")).unwrap_or_default();
            ("exposure limit (old edition)", format!("{}: {}{year}", l.kind, l.text), l.source.clone())
        };
        rows.extend(self.exposure_limits.iter().map(limit));
        let mut table = table(
            self.name.clone(),
            vec![
                Column::text("what", rows.iter().map(|r| r.0)),
                Column::text("value", rows.iter().map(|r| r.1.as_str())),
                Column::text("source", rows.iter().map(|r| r.2.as_str())),
            ],
        );
        table.notes.extend(self.remarks.iter().cloned());
        let missing = self.missing();
        if !missing.is_empty() {
            table.notes.push(format!("not in this table: {}", missing.join(", ")));
        }
        table.notes.push(DATA_NOTE.to_owned());
        table
    }
}
