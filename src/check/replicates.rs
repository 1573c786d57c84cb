//! Checks on flasks beside each other, on propagation, and on amounts beside reference values.

use super::calibration::{LEVEL, p_words};
use super::finding;
use crate::estimate::{rounded, significant};
use crate::quantify::{ClaimedU, claims};
use crate::results::{ComparisonResult, Finding, OutlierResult, ReplicateResult, Results, Severity};

/// Samples whose flasks Grubbs' test could be asked of.
pub(super) fn tested(results: &Results) -> impl Iterator<Item = (&ReplicateResult, &OutlierResult)> {
    results.replicates.iter().filter_map(|r| r.grubbs.as_ref().map(|g| (r, g)))
}

/// One flask far from the rest: advice to look at it. `adjusted` gives the p-values in the order of [`tested`].
pub(super) fn outliers(
    results: &Results,
    adjusted: &mut impl Iterator<Item = f64>,
    origin: &str,
    all: &mut Vec<Finding>,
) {
    for (r, g) in tested(results) {
        let p = adjusted.next().unwrap_or(1.0);
        let good = p >= LEVEL;
        let mut why = format!(
            "{} is farthest from the mean of {} flasks: Grubbs {} = {}, {}",
            g.flask,
            r.flasks.len(),
            g.statistic_name,
            significant(g.statistic, 3),
            p_words(g.p_value)
        );
        if let Some(d) = &r.dixon {
            why.push_str(&format!(
                "; Dixon {} = {}, {}",
                d.statistic_name,
                significant(d.statistic, 3),
                p_words(d.p_value)
            ));
        }
        if let Some(robust) = r.robust.as_ref().filter(|_| !good) {
            why.push_str(&format!(
                "; mean {}, robust mean {} {}",
                rounded(r.mean, robust.u),
                rounded(robust.mean, robust.u),
                r.unit
            ));
        }
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "one flask far from the rest",
            format!("{}, {}", r.compound, r.sample),
            Some(p),
            Some(LEVEL),
            &format!("Grubbs' test, {origin}"),
            why,
            (!good).then_some(
                "look for its cause in preparation and integration; leave it out only with a reason in the log",
            ),
        ));
    }
}

/// Spread of a sample's flasks beside what laboratories reach at such a content, where there are 4 flasks or more.
pub(super) fn spread(results: &Results, all: &mut Vec<Finding>) {
    for r in results.replicates.iter().filter(|r| r.kind == "sample" && r.flasks.len() >= 4) {
        let (Some(sd), Some(predicted)) = (r.sd, r.predicted_rsd_percent) else { continue };
        let rsd = 100.0 * sd / r.mean.abs();
        if !rsd.is_finite() {
            continue;
        }
        // Within one laboratory 2/3 are usual; above the whole the preparation, not the content, has the say.
        let good = rsd <= predicted;
        all.push(finding(
            if good { Severity::Pass } else { Severity::Warn },
            "spread of the flasks",
            format!("{}, {}", r.compound, r.sample),
            Some(rsd),
            Some(predicted),
            "relative standard deviation between laboratories after Horwitz and Thompson; within one half to two thirds of it are usual",
            format!(
                "{} flasks scatter by {} %; {} % are expected between laboratories at this mass fraction",
                r.flasks.len(),
                significant(rsd, 2),
                significant(predicted, 2)
            ),
            (!good).then_some("look where flasks differ: weighing, transfer, evaporation; shots of one flask tell whether it is the syringe"),
        ));
    }
}

/// Is the linear uncertainty good enough?
pub(super) fn trials(results: &Results, all: &mut Vec<Finding>) {
    for a in &results.amounts {
        let Some(m) = &a.monte_carlo else { continue };
        all.push(finding(
            if m.linear_is_good { Severity::Pass } else { Severity::Warn },
            "linear propagation of uncertainty",
            format!("{}, {}", a.compound, a.sample),
            None,
            Some(m.tolerance),
            "JCGM 101:2008, clause 8: ends of the interval within half a unit of the second digit of u",
            m.text.clone(),
            (!m.linear_is_good).then_some("report the interval, which does not rest on it; use u in budgets with care"),
        ));
    }
}

/// Amounts beside reference values: agreement, and whether the uncertainties claimed can be believed.
pub(super) fn references(results: &Results, all: &mut Vec<Finding>) {
    for c in &results.comparisons {
        let place = format!("{}, {}", c.compound, c.sample);
        let agrees = c.e_n.abs() <= 1.0;
        all.push(finding(
            if agrees { Severity::Pass } else { Severity::Fail },
            "agreement with the reference value",
            &place,
            Some(c.e_n),
            Some(1.0),
            &format!("E_n between -1 and 1 (ISO 13528:2022); reference: {}", c.origin),
            agreement(c),
            (!agrees).then_some("a source of error is missing from the budget, or one of the values is wrong; do not widen u until the cause is found"),
        ));
        if let Some(z) = c.z.filter(|z| z.abs() > 2.0) {
            all.push(finding(
                Severity::Warn,
                "difference from the reference beside the target",
                &place,
                Some(z),
                Some(2.0),
                c.target_origin.as_deref().unwrap_or("study.toml"),
                format!("the difference is {} target standard deviations, whatever u is claimed", significant(z, 2)),
                Some("satisfactory are 2, questionable 2 to 3: look for a bias before the next study"),
            ));
        }
        let large = c.claimed_u == ClaimedU::AboveTarget.words();
        if large || c.claimed_u == ClaimedU::BelowReference.words() {
            all.push(finding(
                Severity::Warn,
                "plausibility of the claimed uncertainty",
                &place,
                Some(c.u),
                if large { c.target_sd.map(|s| 1.5 * s) } else { Some(c.reference_u) },
                "between the reference's own u and 1.5 times the target (ISO 13528:2022, from memory)",
                format!("the claimed standard uncertainty, {} {}, is {}", significant(c.u, 2), c.unit, c.claimed_u),
                Some(if large {
                    "agreement within so large a u is no merit: look which line of the budget is larger than it need be"
                } else {
                    "a routine result is seldom better known than a reference: look for sources that are missing"
                }),
            ));
        }
    }
    let zetas: Vec<f64> = results.comparisons.iter().map(|c| c.zeta).collect();
    let Some(together) = claims(&zetas) else { return };
    let (severity, next) = if together.p_too_large < 0.5 * LEVEL {
        (
            Severity::Warn,
            Some(
                "the differences are smaller than the uncertainties claimed: these are inflated, or the results share their errors",
            ),
        )
    } else if together.p_too_small < 0.5 * LEVEL {
        (
            Severity::Warn,
            Some("the differences are larger than the uncertainties claimed: sources are missing from the budgets"),
        )
    } else {
        (Severity::Pass, None)
    };
    all.push(finding(
        severity,
        "claimed uncertainties together",
        format!("{} comparisons", together.n),
        Some(together.sum),
        None,
        "χ² of the differences over their standard uncertainties, two-sided at 5 %",
        format!(
            "χ² = {} on {}, smaller by chance in {} %",
            significant(together.sum, 3),
            together.n,
            significant(100.0 * together.p_too_large, 2)
        ),
        next,
    ));
}

fn agreement(c: &ComparisonResult) -> String {
    format!(
        "found less reference {} ± {} {} (standard uncertainty); E_n {}, ζ {}{}",
        rounded(c.difference, c.difference_u),
        significant(c.difference_u, 2),
        c.unit,
        significant(c.e_n, 2),
        significant(c.zeta, 2),
        c.z.map(|z| format!(", z {}", significant(z, 2))).unwrap_or_default()
    )
}
