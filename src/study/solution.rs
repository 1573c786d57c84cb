//! Solutions: what was made from what, and where the uncertainty of their contents comes from.

use serde::{Deserialize, Serialize};

/// A solution: what was made from what, and where its contents' uncertainty comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Solution {
    /// Name, such as "stock A".
    pub name: String,
    /// How it was made, in words: masses, volumes, purities, temperature.
    #[serde(default)]
    pub made: Option<String>,
    /// Which runs' contents rest on it.
    #[serde(default)]
    pub used_in: UsedIn,
    /// Elementary sources of uncertainty of its contents.
    #[serde(default, rename = "source")]
    pub sources: Vec<Source>,
    /// Why solvent may have left it, in words, such as "stood open for 20 min": flagged in the findings, never corrected.
    #[serde(default)]
    pub evaporation: Option<String>,
}

/// Which injections' contents rest on a solution.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum UsedIn {
    /// The calibration standards.
    #[default]
    Standards,
    /// The samples, such as the pipette that all dilutions shared.
    Samples,
    /// Both alike, as the internal standard's solution: it cancels where both got the same.
    Both,
    /// Only for information: check standards, blanks.
    Other,
}

/// One elementary source of relative uncertainty, labelled shot, flask or shared. Its size is stated in one of four ways.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// In words: "purity of isopropyl acetate".
    pub name: String,
    /// Relative half-width of the tolerance, such as 0.005 for ± 0.5 %.
    #[serde(default)]
    pub relative_half_width: Option<f64>,
    /// Relative standard uncertainty, instead of a half-width.
    #[serde(default)]
    pub relative_u: Option<f64>,
    /// What was read or measured out: 10.00 for a pipette of 10 mL, 0.5012 for a mass in g; together with `half_width`.
    #[serde(default)]
    pub nominal: Option<f64>,
    /// Half-width of the tolerance in the unit of `nominal`, as glassware and balances state it.
    #[serde(default)]
    pub half_width: Option<f64>,
    /// Independent readings behind `nominal`, each with that tolerance: 2 for a mass by difference (default 1).
    #[serde(default)]
    pub readings: Option<u32>,
    /// How far the temperature may have been from that of the stated contents, in K: liquids expand.
    #[serde(default, rename = "temperature_half_width_K")]
    pub temperature_half_width_k: Option<f64>,
    /// Relative expansion of the liquid per K; 0.001 where not stated (organic liquids, common practice; water 0.0002).
    #[serde(default, rename = "expansion_per_K")]
    pub expansion_per_k: Option<f64>,
    /// Distribution over the half-width.
    #[serde(default)]
    pub distribution: Distribution,
    /// Whether it strikes each shot, each flask, or all alike.
    #[serde(default)]
    pub scope: Scope,
    /// The compounds it touches; none named: all.
    #[serde(default)]
    pub compounds: Vec<String>,
    /// The standards that share it, by the log's column `sample`, where it is shared by some only: one intermediate
    /// dilution that several levels were made from. None named: all.
    #[serde(default)]
    pub standards: Vec<String>,
}

/// Relative expansion of organic liquids per K (common practice; 0.00083 for alkanes C₁₂ to 0.0016 for diethyl ether).
pub(crate) const EXPANSION_PER_K: f64 = 0.001;

/// Distribution of a tolerance, for its standard uncertainty (GUM 4.3.7 to 4.3.9).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Distribution {
    /// u = a/√3.
    #[default]
    Rectangular,
    /// u = a/√6.
    Triangular,
    /// The half-width is a 95 % interval: u = a/1.96.
    Normal95,
}

/// What a source of uncertainty strikes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scope {
    /// Each injection anew.
    Shot,
    /// Each flask anew.
    Flask,
    /// All flasks alike: it does not average out.
    #[default]
    Shared,
}

impl Source {
    /// Relative half-width, however the tolerance was stated; `None` where a standard uncertainty was, or nothing.
    pub fn half_width(&self) -> Option<f64> {
        let readings = f64::from(self.readings.unwrap_or(1).max(1));
        let measured = self.nominal.zip(self.half_width).map(|(x, a)| libm::sqrt(readings) * a / x);
        let warmed = self.temperature_half_width_k.map(|t| t * self.expansion_per_k.unwrap_or(EXPANSION_PER_K));
        self.relative_half_width.or(measured).or(warmed)
    }

    /// Relative standard uncertainty; `None` where none of the ways of stating it was used.
    pub fn standard(&self) -> Option<f64> {
        let divisor = match self.distribution {
            Distribution::Rectangular => 3f64.sqrt(),
            Distribution::Triangular => 6f64.sqrt(),
            Distribution::Normal95 => 1.959_963_984_540_054, // normal quantile at 0.975
        };
        self.relative_u.or(self.half_width().map(|a| a / divisor))
    }

    /// What is wrong with it, in words.
    pub(super) fn fault(&self) -> Option<String> {
        let name = &self.name;
        let ways = [
            self.relative_half_width.is_some(),
            self.relative_u.is_some(),
            self.nominal.is_some() || self.half_width.is_some(),
            self.temperature_half_width_k.is_some(),
        ];
        match ways.iter().filter(|w| **w).count() {
            1 => {}
            0 => {
                return Some(format!(
                    "\"{name}\" states neither relative_half_width nor relative_u, nor nominal with half_width, nor \
                     temperature_half_width_K; one of them is wanted"
                ));
            }
            _ if ways[0] && ways[1] => {
                return Some(format!("\"{name}\" states both relative_half_width and relative_u; one is wanted"));
            }
            _ => return Some(format!("\"{name}\" states its size in two ways; one is wanted")),
        }
        if self.nominal.is_some() != self.half_width.is_some() {
            return Some(format!("\"{name}\": nominal and half_width stand together, in one unit"));
        }
        if self.expansion_per_k.is_some() && self.temperature_half_width_k.is_none() {
            return Some(format!("\"{name}\": expansion_per_K says nothing without temperature_half_width_K"));
        }
        if self.readings.is_some() && self.nominal.is_none() {
            return Some(format!("\"{name}\": readings says nothing without nominal and half_width"));
        }
        if self.readings == Some(0) {
            return Some(format!("\"{name}\": 0 readings; 1 or more are wanted"));
        }
        if let Some(x) = self.nominal.filter(|x| !(x.is_finite() && *x > 0.0)) {
            return Some(format!("\"{name}\": a nominal value of {x}; a number above 0 is wanted"));
        }
        let stated = self.relative_u.or_else(|| self.half_width());
        if let Some(v) = stated.filter(|v| !(v.is_finite() && (0.0..1.0).contains(v))) {
            return Some(format!("\"{name}\": {v} is no relative uncertainty; 0.005 stands for 0.5 %"));
        }
        if !self.standards.is_empty() && self.scope != Scope::Shared {
            return Some(format!(
                "\"{name}\" names the standards that share it, but its scope is another; \"shared\" is wanted"
            ));
        }
        None
    }

    /// True where it touches `compound`.
    pub fn touches(&self, compound: &str) -> bool {
        self.compounds.is_empty() || self.compounds.iter().any(|c| c == compound)
    }
}
