//! Order of elution against boiling points: a hint about names, never a verdict.

use super::Study;
use crate::compounds;
use crate::estimate::significant;
use crate::results::{Finding, NamingResult, Severity};

/// Boiling points nearer than this do not fix the order, in K (our choice: shape and branching count as much).
const NEAR_K: f64 = 5.0;
/// Words in a phase's description that make it polar: there functional groups rule the order.
const POLAR: [&str; 5] = ["wax", "glycol", "cyano", "peg", "trifluoro"];

/// What the order is judged by.
struct Placed {
    compound: String,
    family: String,
    boiling_c: f64,
    source: String,
    time_min: f64,
}

impl Study {
    /// Within a family, compounds elute in the order of their boiling points on a non-polar column (common practice).
    pub(super) fn order_of_elution(&self, naming: &NamingResult) -> Vec<Finding> {
        let phase = self.config.column.phase.as_deref().unwrap_or_default().to_lowercase();
        if POLAR.iter().any(|w| phase.contains(w)) {
            return Vec::new();
        }
        let mut placed: Vec<Placed> =
            naming.references.iter().filter_map(|r| self.placed(&r.compound, r.time_min)).collect();
        placed.sort_by(|a, b| a.family.cmp(&b.family).then(a.time_min.total_cmp(&b.time_min)));
        let mut all = Vec::new();
        for family in placed.chunk_by(|a, b| a.family == b.family).filter(|f| f.len() > 1) {
            let mut wrong = Vec::new();
            for (k, early) in family.iter().enumerate() {
                for late in family[k + 1..].iter().filter(|l| early.boiling_c > l.boiling_c + NEAR_K) {
                    wrong.push(format!(
                        "{} ({} °C, {}) elutes before {} ({} °C, {})",
                        early.compound,
                        significant(early.boiling_c, 4),
                        early.source,
                        late.compound,
                        significant(late.boiling_c, 4),
                        late.source
                    ));
                }
            }
            let names: Vec<&str> = family.iter().map(|p| p.compound.as_str()).collect();
            let column = if phase.is_empty() {
                "if the column is non-polar (study.toml does not say)"
            } else {
                "on a non-polar column"
            };
            let good = wrong.is_empty();
            all.push(Finding {
                severity: if good { Severity::Pass } else { Severity::Warn },
                what: "order of boiling points".to_owned(),
                figure: Some(wrong.len() as f64),
                limit: None,
                origin: format!(
                    "one family elutes in the order of boiling points {column}: common practice, a hint and no verdict"
                ),
                place: format!("{}: {}", family[0].family, names.join(", ")),
                why: if good { "as the boiling points have it".to_owned() } else { wrong.join("; ") },
                next: (!good)
                    .then(|| "look at these names again: inject one of them alone, or spike with it".to_owned()),
            });
        }
        all
    }

    /// What study.toml says comes before the table.
    fn placed(&self, name: &str, time_min: f64) -> Option<Placed> {
        let config = self.config.compound(name)?;
        let found = compounds::find(config.cas.as_deref().unwrap_or(name));
        let table = found.as_ref().and_then(|p| p.boiling_point_c.clone());
        let (boiling_c, source) = match config.boiling_point_c {
            Some(t) => (t, "study.toml".to_owned()),
            None => table.map(|t| (t.value, t.source))?,
        };
        let family = config.family.clone().or_else(|| found.and_then(|p| p.family))?;
        Some(Placed { compound: name.to_owned(), family, boiling_c, source, time_min })
    }
}
