//! Amounts by normalisation: shares of what the detector shows, with a response factor for each compound.

use super::amounts::{Decided, Sample};
use super::parts::{self, Part};
use super::responses::Measured;
use super::{Compound, Role, Study};
use crate::compounds;
use crate::error::{Error, ErrorKind, Result};
use crate::estimate::significant;
use crate::numeric::sample_sd;
use crate::quantify::{
    CARBON_NUMBER_ESTER_RELATIVE_U, CARBON_NUMBER_RELATIVE_U, CarbonGroups, NormalisedPeak, Share, UnseenComponent,
    normalise,
};
use crate::results::AmountResult;
use crate::units::ContentUnit;

/// Below so many degrees of freedom the scatter between flasks is not known.
const LEAST_DOF: f64 = 4.0;

impl Study {
    /// The share of every compound that shows in a sample.
    pub(super) fn normalised(&self, sample: &Sample, measured: &Measured, decided: &mut Decided) -> Result<()> {
        let unit = ContentUnit::parse("% m/m")?;
        let unseen: Vec<UnseenComponent> = self
            .config
            .unseen
            .iter()
            .filter(|u| u.samples.is_empty() || u.samples.contains(&sample.name))
            .map(|u| UnseenComponent { compound: u.name.clone(), mass_fraction: u.mass_fraction.map(|w| [w, u.u]) })
            .collect();
        let shown: Vec<&Compound> = self
            .config
            .compounds
            .iter()
            .filter(|c| c.role != Role::InternalStandard && self.shows(sample, &c.name, measured))
            .collect();
        let factors: Vec<(f64, f64)> = shown.iter().map(|c| self.factor(c)).collect::<Result<_>>()?;
        // Shares flask by flask tell on the scatter; factors and what is not seen are the same in all.
        let mut by_flask: Vec<Vec<Share>> = Vec::new();
        let mut shots = 0;
        for flask in &sample.flasks {
            let mut peaks = Vec::new();
            for (c, (factor, factor_relative_u)) in shown.iter().zip(&factors) {
                let areas = self.responses(&flask.shots, &c.name, None, measured)?;
                let n = areas.len() as f64;
                peaks.push(NormalisedPeak {
                    compound: c.name.clone(),
                    area: areas.iter().map(|a| a.0).sum::<f64>() / n,
                    area_u: areas.iter().map(|a| a.1 * a.1).sum::<f64>().sqrt() / n,
                    factor: *factor,
                    factor_relative_u: *factor_relative_u,
                });
            }
            shots += flask.shots.len();
            by_flask.push(normalise(&peaks, &unseen).map_err(|e| e.at_field(format!("sample \"{}\"", sample.name)))?);
        }
        let unnamed = self.unnamed_percent(sample, measured);
        let internal_solvent = shown.iter().all(|c| c.role != Role::Solvent);
        for (k, compound) in shown.iter().enumerate() {
            let one: Vec<&Share> = by_flask.iter().map(|shares| &shares[k]).collect();
            let mut notes = vec![
                "everything that the detector does not show, and that is not stated as unseen, is taken not to be there; \
                 shares add up to the whole and must not be combined as if independent"
                    .to_owned(),
            ];
            if compound.carbon_groups.is_some() {
                notes.push(
                    "response factor from effective carbon numbers (J. C. Sternberg, W. S. Gallaway, D. T. L. Jones 1962): \
                     good to some 4 %, esters to 20 %"
                        .to_owned(),
                );
            }
            if unnamed > 1.0 {
                notes.push(format!(
                    "peaks without a name hold {} % of the area and are left out",
                    significant(unnamed, 2)
                ));
            }
            if internal_solvent && self.config.compounds.iter().any(|c| c.role == Role::Solvent) {
                notes.push("the solvent does not show: shares are those of what it dissolves".to_owned());
            }
            decided.amounts.push(self.share(sample, &compound.name, &one, shots, unit, notes));
        }
        Ok(())
    }

    /// A peak in every accepted shot, above three times its uncertainty.
    fn shows(&self, sample: &Sample, compound: &str, measured: &Measured) -> bool {
        sample.flasks.iter().flat_map(|f| &f.shots).all(|&i| measured.area(i, compound).is_ok_and(|(a, u)| a > 3.0 * u))
    }

    /// Response factor by mass with its relative standard uncertainty.
    fn factor(&self, c: &Compound) -> Result<(f64, f64)> {
        if let Some(f) = c.response_factor {
            let Some(u) = c.response_factor_relative_u else {
                return Err(Error::new(
                    ErrorKind::Study,
                    format!("the response factor of {} has no uncertainty", c.name),
                )
                .at_field("compound.response_factor_relative_u")
                .in_file("study.toml")
                .hint("state its relative standard uncertainty: 0.02 for 2 %"));
            };
            return Ok((f, u));
        }
        let Some(groups) = &c.carbon_groups else {
            return Err(Error::new(ErrorKind::Study, format!("{} shows, but has no response factor", c.name))
                .at_field("compound.response_factor")
                .in_file("study.toml")
                .hint(
                    "measure one (mass over area, relative to any one compound), or on a flame-ionisation detector state \
                     carbon_groups; a compound without a factor cannot be normalised",
                ));
        };
        let table = compounds::find(c.cas.as_deref().unwrap_or(&c.name)).map(|p| p.molar_mass_g_mol);
        let Some(mass) = c.molar_mass_g_mol.or(table) else {
            return Err(Error::new(ErrorKind::Study, format!("the molar mass of {} is not known", c.name))
                .at_field("compound.molar_mass_g_mol")
                .in_file("study.toml")
                .hint("state molar_mass_g_mol, or cas where the table knows the compound"));
        };
        // Relative to methane's one carbon: what the reference is cancels in a share.
        let reference = CarbonGroups { aliphatic: 1, ..CarbonGroups::default() };
        let factor = crate::quantify::carbon_number_factor(groups, mass, &reference, 1.0)?;
        let u = if groups.tertiary_alcohol_or_ester > 0 && groups.carbonyl > 0 {
            CARBON_NUMBER_ESTER_RELATIVE_U
        } else {
            CARBON_NUMBER_RELATIVE_U
        };
        Ok((factor, u))
    }

    /// Share of the area in peaks that no compound claims, in %.
    fn unnamed_percent(&self, sample: &Sample, measured: &Measured) -> f64 {
        let (mut unnamed, mut all) = (0.0, 0.0);
        for n in sample.flasks.iter().flat_map(|f| &f.shots).flat_map(|&i| &measured.runs[i].peaks) {
            let area = n.peak.area.max(0.0);
            all += area;
            if n.compound.is_none() {
                unnamed += area;
            }
        }
        if all > 0.0 { 100.0 * unnamed / all } else { 0.0 }
    }

    fn share(
        &self,
        sample: &Sample,
        compound: &str,
        shares: &[&Share],
        shots: usize,
        unit: ContentUnit,
        mut notes: Vec<String>,
    ) -> AmountResult {
        let level = self.config.quantification.level;
        let m = shares.len() as f64;
        let percent = |f: fn(&Share) -> f64| 100.0 * shares.iter().map(|s| f(s)).sum::<f64>() / m;
        let value = percent(|s| s.mass_fraction);
        let values: Vec<f64> = shares.iter().map(|s| 100.0 * s.mass_fraction).collect();
        let (noise, factors, unseen) =
            (percent(|s| s.u_areas) / m.sqrt(), percent(|s| s.u_factors), percent(|s| s.u_unseen));
        let dof = m - 1.0;
        // Scatter between flasks holds the noise of the areas; with few flasks only the noise is known.
        let scatter = sample_sd(&values).filter(|_| dof >= LEAST_DOF).map(|s| s / m.sqrt());
        if scatter.is_none() {
            notes.push(
                "fewer than 5 flasks: their scatter is not in u, only the noise of the areas, the factors and what is unseen"
                    .to_owned(),
            );
        }
        let area = match scatter {
            Some(s) if s > noise => Part::new("scatter of the flasks", "flask", "A", s, Some(dof)),
            _ => Part::new("noise in the areas", "shot", "A", noise, None),
        };
        let parts = [
            area,
            Part::new("response factors", "shared", "B", factors, None),
            Part::new("what the detector does not show", "shared", "B", unseen, None),
        ];
        let parts: Vec<Part> = parts.into_iter().filter(|p| p.u > 0.0).collect();
        let of = "mass of the component per mass of all that shows or is stated as unseen";
        AmountResult {
            sample: sample.name.clone(),
            kind: sample.kind.word().to_owned(),
            compound: compound.to_owned(),
            n_preparations: shares.len(),
            n_injections: shots,
            notes,
            ..parts::amount(value, of, Some(&parts), unit, level)
        }
    }
}
