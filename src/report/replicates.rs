//! Tables of flasks beside each other, and of the scatter by its origin.

use crate::estimate::{rounded_pair, typographic};
use crate::results::{OutlierResult, ReplicateResult, Results, ScatterResult};

use super::context::{ReplicateRow, ScatterRow};
use super::number::{MISSING, dof, or_dash, probability, significant};
use super::text::name;

/// Samples of two flasks or more.
pub(super) fn replicates(results: &Results) -> Vec<ReplicateRow> {
    results.replicates.iter().filter(|r| r.flasks.len() > 1).map(replicate).collect()
}

fn replicate(r: &ReplicateResult) -> ReplicateRow {
    // Values to the place that their own spread gives.
    let sd = r.sd.filter(|s| *s > 0.0);
    let shown = |x: f64| sd.map_or_else(|| significant(x, 4), |s| typographic(&rounded_pair(x, s).0));
    let farthest = match (&r.grubbs, &r.dixon) {
        (None, None) => "fewer than 4 flasks, or equal values".to_owned(),
        (grubbs, dixon) => {
            let test = |t: &OutlierResult| {
                format!("{} = {}, p = {}", t.statistic_name, significant(t.statistic, 3), probability(t.p_value))
            };
            let flask = grubbs.as_ref().or(dixon.as_ref()).map_or(MISSING, |t| t.flask.as_str());
            let tests: Vec<String> = [grubbs, dixon].into_iter().flatten().map(test).collect();
            format!("{}: {}", name(flask), tests.join("; "))
        }
    };
    ReplicateRow {
        sample: name(&r.sample),
        what: format!("{} / {}", name(&r.compound), name(&r.unit)),
        values: r.flasks.iter().map(|f| shown(f.value)).collect::<Vec<_>>().join("; "),
        mean: shown(r.mean),
        sd: or_dash(r.sd, |s| significant(s, 2)),
        robust: r.robust.map_or_else(|| MISSING.to_owned(), |x| shown(x.mean)),
        farthest,
    }
}

pub(super) fn scatter(results: &Results) -> Vec<ScatterRow> {
    results.scatter.iter().map(row).collect()
}

fn row(s: &ScatterResult) -> ScatterRow {
    let sized = |sd: Option<f64>, of: f64| match sd {
        Some(sd) => format!("{} ({})", significant(sd, 2), dof(Some(of))),
        None => MISSING.to_owned(),
    };
    ScatterRow {
        compound: name(&s.compound),
        shots: sized(s.shot_rsd_percent, s.shot_dof),
        flasks: sized(s.flask_rsd_percent, s.flask_dof),
        flasks_add: match (s.flask_variance_percent2, s.flask_p_value) {
            (Some(v), Some(p)) if v > 0.0 => format!("{} %, p = {}", significant(v.sqrt(), 2), probability(p)),
            (Some(_), Some(p)) => format!("nothing, p = {}", probability(p)),
            _ => MISSING.to_owned(),
        },
        days: match (s.day_variance_percent2, s.day_p_value) {
            (Some(v), Some(p)) if v > 0.0 => format!("{} %, p = {}", significant(v.sqrt(), 2), probability(p)),
            (Some(_), Some(p)) => format!("nothing, p = {}", probability(p)),
            _ => "one day".to_owned(),
        },
    }
}
