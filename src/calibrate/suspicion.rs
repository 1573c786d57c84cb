//! What a mistake would explain: two flasks or levels exchanged, a flask or level out by a whole factor.

use std::fmt;

use super::curve::Curve;
use super::flasks::{Model, Weighting};
use super::variance::Standards;

/// A mistake that would explain the scatter. Nothing is changed by it: it is where to look first.
#[derive(Clone, Debug, PartialEq)]
pub struct Suspicion {
    /// The mistake.
    pub mistake: Mistake,
    /// Standard deviation of the scatter without the mistake, over that with it.
    pub scatter_left: f64,
}

/// A mistake in making or labelling flasks.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Mistake {
    /// Two flasks, or all flasks of two levels, look exchanged.
    Exchanged {
        /// The one.
        one: String,
        /// The other.
        other: String,
    },
    /// A flask, or all flasks of a level, holds a multiple of what is stated.
    OutByFactor {
        /// Which.
        which: String,
        /// True content over the stated one.
        factor: f64,
    },
}

impl fmt::Display for Suspicion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.mistake {
            Mistake::Exchanged { one, other } => write!(f, "{one} and {other} look exchanged")?,
            Mistake::OutByFactor { which, factor } if *factor >= 1.0 => {
                write!(f, "{which} looks like {factor} times its stated content")?;
            }
            Mistake::OutByFactor { which, factor } => {
                write!(f, "{which} looks like its stated content divided by {:.4}", 1.0 / factor)?;
            }
        }
        write!(f, ": the scatter would fall to {:.2} of what it is", self.scatter_left)
    }
}

/// Factors that a slip in dilution gives.
const FACTORS: [f64; 14] = [0.01, 0.04, 0.05, 0.1, 0.2, 0.25, 0.5, 2.0, 4.0, 5.0, 10.0, 20.0, 25.0, 100.0];

/// A mistake is told where it explains all but a third of the scatter.
const EXPLAINS: f64 = 1.0 / 3.0;

impl Curve {
    /// The one mistake, exchanged flasks or levels or a whole factor, that would explain most of the scatter, if that
    /// leaves less than a third of it; `None` otherwise. To be asked where a test warns: among good data it is rare,
    /// but not impossible.
    pub fn suspicion(&self) -> Option<Suspicion> {
        if self.dof < 2.0 || self.model == Model::InverseRegressionLine || self.weighting == Weighting::Replicates {
            return None;
        }
        let now = self.scatter_with(&self.x)?;
        let groups = self.groups();
        let mut best: Option<(f64, Mistake)> = None;
        let mut consider = |x: &[f64], mistake: &dyn Fn() -> Mistake| {
            if let Some(s) = self.scatter_with(x)
                && best.as_ref().is_none_or(|b| s < b.0)
            {
                best = Some((s, mistake()));
            }
        };
        let mut x = self.x.clone();
        for (i, a) in groups.iter().enumerate() {
            for b in &groups[i + 1..] {
                let (xa, xb) = (self.x[a.members[0]], self.x[b.members[0]]);
                // A flask with a flask, a level with a level.
                if xa == xb || a.level != b.level {
                    continue;
                }
                a.members.iter().for_each(|&k| x[k] = xb);
                b.members.iter().for_each(|&k| x[k] = xa);
                consider(&x, &|| Mistake::Exchanged { one: a.name.clone(), other: b.name.clone() });
                a.members.iter().chain(&b.members).for_each(|&k| x[k] = self.x[k]);
            }
            for factor in FACTORS {
                a.members.iter().for_each(|&k| x[k] = self.x[k] * factor);
                consider(&x, &|| Mistake::OutByFactor { which: a.name.clone(), factor });
                a.members.iter().for_each(|&k| x[k] = self.x[k]);
            }
        }
        let (left, mistake) = best?;
        let scatter_left = left / now;
        (scatter_left < EXPLAINS).then_some(Suspicion { mistake, scatter_left })
    }

    /// Square root of the scatter factor for other contents; `None` where no curve can be had.
    fn scatter_with(&self, x: &[f64]) -> Option<f64> {
        let s = Standards { x, ..self.standards() }.scatter(None);
        let factor = s.factor;
        (factor.is_finite() && factor > 0.0).then(|| libm::sqrt(factor))
    }

    /// Flasks, and levels of more than one flask.
    fn groups(&self) -> Vec<Group> {
        let labels: Vec<&str> =
            self.points.iter().filter(|p| p.leverage.is_some()).map(|p| p.flask.label.as_str()).collect();
        let mut groups: Vec<Group> = labels
            .iter()
            .enumerate()
            .map(|(i, label)| Group { level: false, name: (*label).to_owned(), members: vec![i] })
            .collect();
        let mut order: Vec<usize> = (0..self.x.len()).collect();
        order.sort_by(|&a, &b| self.x[a].total_cmp(&self.x[b]));
        for level in order.chunk_by(|&a, &b| self.x[a] == self.x[b]).filter(|l| l.len() > 1) {
            let name = format!("level {:.6}", self.x[level[0]]);
            let name = name.trim_end_matches('0').trim_end_matches('.').to_owned();
            groups.push(Group { level: true, name, members: level.to_vec() });
        }
        groups
    }
}

/// Flasks that would have been mistaken together.
struct Group {
    level: bool,
    name: String,
    members: Vec<usize>,
}
