//! Properties and hazards of common volatile compounds, each value with its source.
//!
//! What is here was found in a named source; what was not found is `None`. A table never replaces
//! the supplier's safety data sheet: see [`DATA_NOTE`].

mod limits;
mod synonyms;
mod tables;
mod vapour;

use std::fmt;

use serde::Serialize;

/// Where the data come from, and where they end. Print it wherever values of this table are printed.
pub const DATA_NOTE: &str = "Properties and hazards are single facts, each cited with its source: boiling points and \
enthalpies of vaporisation from the CRC Handbook (with the NIST WebBook and Wikidata for comparison), densities from \
Perry's Chemical Engineers' Handbook and the CRC Handbook, flammable limits and ignition temperatures from NFPA 497 \
(2008) and IEC 60079-20-1 (2010), flash points the lowest of agreeing values in these and Wikidata, signal words and \
hazard statements from the harmonised classification in Regulation (EC) 1272/2008, Annex VI, as amended up to ATP23 \
and read in November 2026, texts from its consolidated version of 1 September 2025. Exposure limits are US values \
(OSHA, NIOSH) from old editions, most of 1994: their year is printed with them, and the current national limits must \
be looked up. The harmonised classification is a minimum: suppliers may classify more strictly, and a compound without \
an entry is not thereby harmless. Mixtures and dilutions are classified differently. The supplier's safety data sheet, \
local rules and the person in charge decide.";

/// What to print for a compound that [`find`] does not know.
pub const NO_DATA: &str = "no data here: read the supplier's safety data sheet";

/// A number with its source.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SourcedNumber {
    /// The value, in the unit its field is named for.
    pub value: f64,
    /// Standard uncertainty in the same unit, `None` where the sources do not tell.
    pub u: Option<f64>,
    /// Where the value was found.
    pub source: String,
    /// What to know before using it, such as sources that disagree.
    pub note: Option<String>,
}

/// A hazard or precautionary statement of Regulation (EC) 1272/2008.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HazardStatement {
    /// The code, such as `H225`.
    pub code: String,
    /// The official English text; `None` where the Regulation leaves words to be filled in.
    pub text: Option<String>,
    /// Why the text is missing, or what was filled in.
    pub remark: Option<String>,
    /// Where the text was found.
    pub source: String,
}

/// The harmonised classification of a pure compound.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hazards {
    /// `Danger` or `Warning`.
    pub signal_word: String,
    /// Classification codes (H) and supplemental label codes (EUH), in the order of the Regulation.
    pub statements: Vec<HazardStatement>,
    /// Pictogram codes, such as `GHS02`.
    pub pictograms: Vec<String>,
    /// Index number and amending act in Annex VI of the Regulation.
    pub source: String,
    /// Remarks of the entry: minimum classifications, concentration limits, statements on the label.
    pub notes: Vec<String>,
}

/// An occupational exposure limit of an old edition: say its year, and look up the current national one.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ExposureLimit {
    /// Which limit: `OSHA PEL` or `NIOSH REL`.
    pub kind: String,
    /// The average over a working day (OSHA 8 h, NIOSH up to 10 h), in ppm by volume; `None` if there is none.
    pub average_ppm: Option<f64>,
    /// The whole limit in words, with ceilings, short-term limits and skin notation.
    pub text: String,
    /// Year of the page it was read from; `None` where the page states none.
    pub year: Option<u16>,
    /// Where it was found.
    pub source: String,
    /// What to know before using it.
    pub note: Option<String>,
}

/// What is known of one compound. A value that was not found is `None`.
#[derive(Clone, PartialEq, Serialize)]
pub struct Properties {
    /// Name in this table.
    pub name: String,
    /// CAS registry number.
    pub cas: String,
    /// Molecular formula, carbon and hydrogen first.
    pub formula: String,
    /// Molar mass in g/mol, from the formula and IUPAC atomic weights.
    pub molar_mass_g_mol: f64,
    /// Normal boiling point in °C.
    pub boiling_point_c: Option<SourcedNumber>,
    /// Density of the liquid at 20 °C in g/mL.
    pub density_20_g_ml: Option<SourcedNumber>,
    /// Density of the liquid at 25 °C in g/mL.
    pub density_25_g_ml: Option<SourcedNumber>,
    /// Density of the liquid near room temperature in g/mL: the source means 20 or 25 °C and does not say which.
    pub density_room_g_ml: Option<SourcedNumber>,
    /// Family within which compounds elute by boiling point on a non-polar column, such as "esters": our grouping.
    pub family: Option<String>,
    /// Enthalpy of vaporisation at the normal boiling point in kJ/mol.
    pub vaporisation_enthalpy_boiling_kj_mol: Option<SourcedNumber>,
    /// Enthalpy of vaporisation at 25 °C in kJ/mol.
    pub vaporisation_enthalpy_25_kj_mol: Option<SourcedNumber>,
    /// Flash point in °C, the lowest of agreeing sources.
    pub flash_point_c: Option<SourcedNumber>,
    /// Autoignition temperature in °C, the lower of the sources.
    pub autoignition_c: Option<SourcedNumber>,
    /// Lower flammable limit in volume percent of the vapour in air, the lower of the sources.
    pub lower_flammable_limit_percent: Option<SourcedNumber>,
    /// Upper flammable limit in volume percent of the vapour in air, the higher of the sources.
    pub upper_flammable_limit_percent: Option<SourcedNumber>,
    /// Harmonised classification; `None` does not mean harmless, see [`Properties::remarks`].
    pub hazards: Option<Hazards>,
    /// Exposure limits; empty where none was found.
    pub exposure_limits: Vec<ExposureLimit>,
    /// Why values are missing, where that is known.
    pub remarks: Vec<String>,
}

/// Finds a compound by name, common synonym or CAS number; letter case and spaces around do not matter.
///
/// Gives `None` for a compound outside this table: print [`NO_DATA`] then. Names that can mean more
/// than one compound (xylene, hexanes, ether) are not known here.
///
/// Accuracy: boiling points of different sources agree within 1 K, exceptions carry a note. Densities
/// carry a standard uncertainty u = √(d²/3 + (0.0015 ρ)²) where two sources exist: d is their difference,
/// taken as the half-width of a rectangular distribution (JCGM 100:2008, 4.3.7), and 0.15 % is what the
/// fitted density equation was found to be off by where both sources agree (22 liquids, reference
/// equations of state). It fails for liquids with a single source, where u is `None`.
///
/// ```
/// use vialbook::compounds;
/// if let Some(p) = compounds::find("isopropanol") {
///     assert_eq!(p.name, "2-propanol");
///     assert_eq!(p.hazards.map(|h| h.signal_word).as_deref(), Some("Danger"));
/// }
/// assert!(compounds::find("unobtainium").is_none());
/// ```
pub fn find(name_or_cas: &str) -> Option<Properties> {
    tables::tables().find(name_or_cas).cloned()
}

/// The names of all compounds in the table, in its order.
pub fn names() -> Vec<String> {
    tables::tables().compounds.iter().map(|p| p.name.clone()).collect()
}

/// All names and synonyms that [`find`] takes for the same compound as `name_or_cas`, the table's own name first.
pub fn synonyms(name_or_cas: &str) -> Vec<String> {
    let Some(p) = tables::tables().find(name_or_cas) else { return Vec::new() };
    let others = synonyms::SYNONYMS.iter().filter(|(name, _)| *name == p.name).flat_map(|(_, s)| s.iter());
    std::iter::once(p.name.clone()).chain(others.map(|s| s.to_string())).collect()
}

/// The official English text of a hazard (H, EUH) or precautionary (P) statement by its code, such as `H225`.
///
/// `None` for a code outside this table; a text with words to be filled in or chosen is left out, with a remark.
/// Source: Regulation (EC) 1272/2008, Annexes III and IV, consolidated text of 2025-09-01.
pub fn statement(code: &str) -> Option<HazardStatement> {
    tables::tables().statements.get(code.trim()).cloned()
}

/// The vapour pressure of a compound in kPa at a temperature in °C, from Antoine constants; `None` for a compound without
/// them, or outside their range.
///
/// log₁₀(p/Pa) = A - B/(T/K + C). Where two sources hold at that temperature, the first is taken, and the note says what
/// the other gives. Accuracy: the constants' own boiling points agree with the handbook's within 1 K, a few within 3 K,
/// that is 3 to 10 % in pressure.
///
/// ```
/// use vialbook::compounds;
/// let p = compounds::vapour_pressure_kpa("ethanol", 25.0).expect("in range");
/// assert!((p.value - 7.88).abs() < 0.01);
/// assert!(compounds::vapour_pressure_kpa("ethanol", 300.0).is_none());
/// ```
pub fn vapour_pressure_kpa(name_or_cas: &str, temperature_c: f64) -> Option<SourcedNumber> {
    let tables = tables::tables();
    let cas = &tables.find(name_or_cas)?.cas;
    let mut rows = tables.vapour.iter().filter(|r| &r.cas == cas && r.holds_at(temperature_c));
    let mut found = rows.next()?.number(temperature_c);
    found.note = rows.next().map(|r| {
        let other = r.number(temperature_c);
        format!("{}: {} kPa", other.source, crate::estimate::significant(other.value, 4))
    });
    Some(found)
}

impl Properties {
    /// What this table does not give for the compound, in words.
    pub fn missing(&self) -> Vec<String> {
        let gaps = [
            (self.boiling_point_c.is_none(), "boiling point"),
            (self.density_20_g_ml.is_none(), "density at 20 °C"),
            (self.density_25_g_ml.is_none(), "density at 25 °C"),
            (self.vaporisation_enthalpy_boiling_kj_mol.is_none(), "enthalpy of vaporisation at the boiling point"),
            (self.vaporisation_enthalpy_25_kj_mol.is_none(), "enthalpy of vaporisation at 25 °C"),
            (self.flash_point_c.is_none(), "flash point"),
            (self.autoignition_c.is_none(), "autoignition temperature"),
            (self.lower_flammable_limit_percent.is_none(), "lower flammable limit"),
            (self.upper_flammable_limit_percent.is_none(), "upper flammable limit"),
            (self.hazards.is_none(), "signal word and hazard statements"),
            (self.exposure_limits.is_empty(), "exposure limits"),
        ];
        gaps.iter().filter(|(gap, _)| *gap).map(|(_, what)| what.to_string()).collect()
    }
}

/// A card: one line per value with its source, hazards in full, and what is missing.
impl fmt::Display for Properties {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{} (CAS {}), {}, {:.4} g/mol", self.name, self.cas, self.formula, self.molar_mass_g_mol)?;
        let lines = [
            ("boiling point", "°C", &self.boiling_point_c),
            ("density at 20 °C", "g/mL", &self.density_20_g_ml),
            ("density at 25 °C", "g/mL", &self.density_25_g_ml),
            ("density at 20 or 25 °C", "g/mL", &self.density_room_g_ml),
            ("enthalpy of vaporisation, boiling", "kJ/mol", &self.vaporisation_enthalpy_boiling_kj_mol),
            ("enthalpy of vaporisation, 25 °C", "kJ/mol", &self.vaporisation_enthalpy_25_kj_mol),
            ("flash point", "°C", &self.flash_point_c),
            ("autoignition", "°C", &self.autoignition_c),
            ("lower flammable limit", "% in air", &self.lower_flammable_limit_percent),
            ("upper flammable limit", "% in air", &self.upper_flammable_limit_percent),
        ];
        for (what, unit, number) in lines {
            let Some(n) = number else { continue };
            write!(f, "{what}: {} {unit}", n.value)?;
            if let Some(u) = n.u {
                write!(f, ", u = {u:.4} {unit}")?;
            }
            write!(f, " [{}]", n.source)?;
            if let Some(note) = &n.note {
                write!(f, "; {note}")?;
            }
            writeln!(f)?;
        }
        if let Some(h) = &self.hazards {
            writeln!(f, "{} ({}) [{}]", h.signal_word, h.pictograms.join(", "), h.source)?;
            for s in &h.statements {
                writeln!(f, "  {s}")?;
            }
            for note in &h.notes {
                writeln!(f, "  {note}")?;
            }
        }
        for limit in &self.exposure_limits {
            writeln!(f, "{limit}")?;
        }
        for remark in &self.remarks {
            writeln!(f, "{remark}")?;
        }
        let missing = self.missing();
        if !missing.is_empty() {
            writeln!(f, "not in this table: {}", missing.join(", "))?;
        }
        f.write_str("read the supplier's safety data sheet and the current national limits")
    }
}

impl fmt::Display for HazardStatement {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (&self.text, &self.remark) {
            (Some(text), _) => write!(f, "{} {text}", self.code),
            (None, Some(remark)) => write!(f, "{} ({remark})", self.code),
            (None, None) => f.write_str(&self.code),
        }
    }
}

impl fmt::Display for ExposureLimit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.year {
            Some(year) => write!(f, "{} (as of {year}): {}", self.kind, self.text)?,
            None => write!(f, "{} (year not stated): {}", self.kind, self.text)?,
        }
        write!(f, " [{}]", self.source)?;
        if let Some(note) = &self.note {
            write!(f, "; {note}")?;
        }
        Ok(())
    }
}

/// Short: name and CAS number; the whole card is in `Display`.
impl fmt::Debug for Properties {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Properties({}, CAS {})", self.name, self.cas)
    }
}
