//! Doubts that only the injection log and study.toml show: columns not understood, volumes, what was not worked out.

use super::{Injection, Kind, QuantifyBy, Scope, Source, Study, UsedIn};
use crate::results::{AmountResult, Finding, Severity};

/// Least and largest volume injected by hand, in µL, where study.toml states none (common practice).
const VOLUME_RANGE_UL: [f64; 2] = [0.1, 0.6];

/// Relative spread of nominal volumes beyond which areas alone cannot be compared.
const VOLUME_SPREAD: f64 = 0.05;

impl Study {
    /// Findings on the log, and on amounts and decisions that were asked for and did not come about.
    pub(super) fn doubts(&self, amounts: &[AmountResult], decisions: &[Finding]) -> Vec<Finding> {
        let mut all = Vec::new();
        self.columns(&mut all);
        self.volumes(&mut all);
        self.sources_in_the_scatter(&mut all);
        self.evaporation(&mut all);
        self.not_worked_out(amounts, decisions, &mut all);
        all
    }

    /// Columns that mean nothing here are kept; one that looks like a slip of the pen would change numbers.
    fn columns(&self, all: &mut Vec<Finding>) {
        let mut names: Vec<&str> =
            self.injections.iter().flat_map(|i| &i.other).map(|(name, _)| name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        for name in names {
            let meant = self.meant(name);
            all.push(finding(
                if meant.is_some() { Severity::Warn } else { Severity::Pass },
                "column of the injection log",
                name,
                match &meant {
                    Some(meant) => format!("\"{name}\" is not understood and was not used; \"{meant}\" may be meant"),
                    None => format!("\"{name}\" is kept as it is; nothing is worked out from it"),
                },
                meant.map(|m| format!("call the column \"{m}\", or give it a name that is unlike it")),
            ));
        }
    }

    /// The name that a column may have been meant to have.
    fn meant(&self, name: &str) -> Option<String> {
        let plain = name.to_lowercase();
        if let Some(compound) = self.config.compounds.iter().find(|c| plain.starts_with(&c.name.to_lowercase())) {
            return Some(format!("{} (unit)", compound.name));
        }
        let words: Vec<&str> = plain.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
        super::log::KNOWN
            .iter()
            .find(|known| {
                let key = known.split(' ').next().unwrap_or(known);
                words.iter().any(|w| edit_distance(w, key) <= usize::from(key.len() > 3) + usize::from(key.len() > 6))
            })
            .map(|known| (*known).to_owned())
            .or_else(|| words.iter().any(|w| ["flask", "vial"].contains(w)).then(|| "preparation".to_owned()))
    }

    /// Volumes outside the instrument's range; unequal volumes where the volume counts.
    fn volumes(&self, all: &mut Vec<Finding>) {
        let limits = &self.config.instrument;
        let range =
            [limits.volume_min_ul.unwrap_or(VOLUME_RANGE_UL[0]), limits.volume_max_ul.unwrap_or(VOLUME_RANGE_UL[1])];
        let outside: Vec<&Injection> =
            self.injections.iter().filter(|i| i.volume_ul.is_some_and(|v| v < range[0] || v > range[1])).collect();
        if let Some(first) = outside.first() {
            all.push(finding(
                Severity::Warn,
                "volume injected",
                &first.run,
                format!(
                    "{} injection(s) outside {} to {} µL, such as {} µL in {}",
                    outside.len(),
                    range[0],
                    range[1],
                    first.volume_ul.unwrap_or_default(),
                    first.run
                ),
                Some(
                    "inject within the instrument's range: more overloads the column, less cannot be read off"
                        .to_owned(),
                ),
            ));
        }
        if self.config.internal_standard().is_some() {
            return;
        }
        let counted = self
            .injections
            .iter()
            .filter(|i| i.accepted && matches!(i.kind, Kind::Standard | Kind::Sample | Kind::CheckStandard));
        let volumes: Vec<(f64, &str)> = counted.filter_map(|i| Some((i.volume_ul?, i.run.as_str()))).collect();
        let least = volumes.iter().min_by(|a, b| a.0.total_cmp(&b.0));
        let most = volumes.iter().max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((least, most)) = least.zip(most).filter(|(a, b)| b.0 > a.0 * (1.0 + VOLUME_SPREAD)) {
            all.push(finding(
                Severity::Fail,
                "one volume for all",
                format!("{}, {}", least.1, most.1),
                format!(
                    "{} µL in {} and {} µL in {}: without an internal standard the volume counts in full, and the \
                     nominal volume is never a correction",
                    least.0, least.1, most.0, most.1
                ),
                Some("inject standards and samples at one volume, or work with an internal standard".to_owned()),
            ));
        }
    }

    /// Stated sources that are not added: what strikes each shot, or each flask of a sample, is in the scatter already,
    /// and adding it would count it twice.
    fn sources_in_the_scatter(&self, all: &mut Vec<Finding>) {
        for solution in &self.config.solutions {
            let counted = |s: &Source| match (solution.used_in, s.scope) {
                (UsedIn::Standards, Scope::Flask | Scope::Shared) | (UsedIn::Samples, Scope::Shared) => true,
                // Common to both sides it cancels, and for information only it is not asked.
                (UsedIn::Both, Scope::Shared) | (UsedIn::Other, _) => true,
                _ => false,
            };
            for source in solution.sources.iter().filter(|s| !counted(s)) {
                all.push(finding(
                    Severity::Pass,
                    "source of uncertainty in the scatter",
                    format!("{}: {}", solution.name, source.name),
                    "what strikes each shot or flask shows in the scatter of the flasks and is not added again",
                    None,
                ));
            }
        }
    }

    /// Evaporation is told, never corrected: nobody knows how much left, or of what.
    fn evaporation(&self, all: &mut Vec<Finding>) {
        for solution in &self.config.solutions {
            let Some(why) = solution.evaporation.as_deref().filter(|w| !w.trim().is_empty()) else { continue };
            all.push(finding(
                Severity::Warn,
                "evaporation",
                &solution.name,
                format!("{why}: contents may be higher than stated; nothing was corrected and no budget holds it"),
                Some("make it again in a closed flask, or weigh it before and after; a check standard from another stock shows how much it matters".to_owned()),
            ));
        }
    }

    /// Amounts and decisions that were asked for and are not there.
    fn not_worked_out(&self, amounts: &[AmountResult], decisions: &[Finding], all: &mut Vec<Finding>) {
        let has = |kind: Kind| self.injections.iter().any(|i| i.kind == kind && i.accepted);
        // By standard addition a sample comes in as its additions.
        let by_addition = self.config.quantification.by == QuantifyBy::StandardAddition;
        if has(if by_addition { Kind::Addition } else { Kind::Sample }) && !amounts.iter().any(|a| a.kind == "sample") {
            all.push(finding(
                Severity::Fail,
                "amounts",
                "study",
                match has(if by_addition { Kind::Addition } else { Kind::Standard }) {
                    true => "there are samples and standards, but no amount was worked out",
                    false => "no accepted run is a standard, so no amount was worked out",
                },
                Some(
                    "log the standards as kind \"standard\" with a column \"compound (unit)\" for each known content; with \
                     an internal standard, state its content in standards and samples"
                        .to_owned(),
                ),
            ));
        }
        for c in &self.config.comparisons {
            if !amounts.iter().any(|a| a.sample == c.sample && a.compound == c.compound) {
                all.push(finding(
                    Severity::Fail,
                    "amount to compare",
                    format!("{}, {}", c.compound, c.sample),
                    "a reference value is stated, but there is no amount to hold to it",
                    Some(
                        "name sample and compound as the injection log does, and see why the amount is missing"
                            .to_owned(),
                    ),
                ));
            }
        }
        for limit in self.config.decision.iter().flat_map(|d| &d.limits) {
            if !decisions.iter().any(|f| f.what == super::amounts::decision_name(&limit.compound)) {
                all.push(finding(
                    Severity::Fail,
                    "amount to decide upon",
                    &limit.compound,
                    "a limit was fixed, but there is no amount to hold to it",
                    Some(
                        "see why the amount is missing: no standard states this content, or no sample was accepted"
                            .to_owned(),
                    ),
                ));
            }
        }
    }
}

fn finding(
    severity: Severity,
    what: &str,
    place: impl Into<String>,
    why: impl Into<String>,
    next: Option<String>,
) -> Finding {
    Finding {
        severity,
        what: what.to_owned(),
        figure: None,
        limit: None,
        origin: "injection log and study.toml".to_owned(),
        place: place.into(),
        why: why.into(),
        next,
    }
}

/// Edits (insert, delete, change, swap of neighbours) from one word to the other.
/// Optimal string alignment, after F. J. Damerau, Commun. ACM 7 (1964) 171-176.
fn edit_distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut d = vec![vec![0; b.len() + 1]; a.len() + 1];
    for (i, row) in d.iter_mut().enumerate() {
        row[0] = i;
    }
    for (j, cell) in d[0].iter_mut().enumerate() {
        *cell = j;
    }
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let change = usize::from(a[i - 1] != b[j - 1]);
            d[i][j] = (d[i - 1][j] + 1).min(d[i][j - 1] + 1).min(d[i - 1][j - 1] + change);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                d[i][j] = d[i][j].min(d[i - 2][j - 2] + 1);
            }
        }
    }
    d[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_of_the_pen_are_one_edit_each() {
        // Damerau's four kinds: a letter wrong, missing, too much, two swapped.
        for slip in ["dilution", "dilutian", "diluton", "diluttion", "dilutoin"] {
            assert_eq!(edit_distance(slip, "dilution"), usize::from(slip != "dilution"), "{slip}");
        }
        assert_eq!(edit_distance("", "abc"), 3);
    }
}
