//! The tables behind [`super::find`], read once.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde::Deserialize;
use serde::de::DeserializeOwned;

use super::synonyms::SYNONYMS;
use super::vapour::{self, Antoine};
use super::{ExposureLimit, HazardStatement, Hazards, Properties, SourcedNumber, limits};

const CRC_BOILING: &str = "CRC Handbook of Chemistry and Physics, Physical Constants of Organic Compounds";
const CRC_DENSITY: &str = CRC_BOILING;
const CRC_ENTHALPY: &str = "CRC Handbook of Chemistry and Physics, enthalpies of vaporisation";
const WEBBOOK: &str = "NIST Chemistry WebBook";
const WIKIDATA: &str = "Wikidata";
const PERRY: &str = "Perry's Chemical Engineers' Handbook, Table 2-32 (DIPPR equation 105)";
const NFPA: &str = "NFPA 497 (2008)";
const IEC: &str = "IEC 60079-20-1 (2010)";

/// Boiling points further apart than this, in K, carry a note.
const BOILING_NOTE_K: f64 = 0.5;
/// Densities further apart than this carry a note.
const DENSITY_NOTE: f64 = 0.005;
/// What the density equation is off by where both sources agree, relative: set on the 22 liquids of
/// tests/data/compounds/densities.csv (reference equations of state).
const DENSITY_EQUATION: f64 = 0.0015;

// Fill-in instructions of Annex III of the Regulation, as printed.
const ORGANS: &str = " <or state all organs affected, if known>";
const ROUTE: &str =
    " <state route of exposure if it is conclusively proven that no other routes of exposure cause the hazard>";

/// Everything, in table order and by name.
pub(super) struct Tables {
    pub(super) compounds: Vec<Properties>,
    pub(super) statements: BTreeMap<String, HazardStatement>,
    pub(super) vapour: Vec<Antoine>,
    index: BTreeMap<String, usize>,
}

/// The tables, read at first use.
pub(super) fn tables() -> &'static Tables {
    static TABLES: OnceLock<Tables> = OnceLock::new();
    TABLES.get_or_init(Tables::read)
}

impl Tables {
    pub(super) fn find(&self, name_or_cas: &str) -> Option<&Properties> {
        self.index.get(&key(name_or_cas)).and_then(|&i| self.compounds.get(i))
    }

    fn read() -> Tables {
        let mut texts = by_key(rows::<StatementRow>(include_str!("data/statements.csv")), |r| &r.code);
        texts.retain(|_, r| r.status == "verified");
        let hazards = by_key(rows::<HazardRow>(include_str!("data/hazards.csv")), |r| &r.cas);
        let flammability = by_key(rows::<FlammabilityRow>(include_str!("data/flammability.csv")), |r| &r.cas);
        let compounds: Vec<_> = rows::<PhysicalRow>(include_str!("data/physical.csv"))
            .into_iter()
            .map(|p| {
                let (h, f) = (hazards.get(&p.cas), flammability.get(&p.cas));
                p.properties(h, f, &texts)
            })
            .collect();
        let mut index = BTreeMap::new();
        for (i, p) in compounds.iter().enumerate() {
            index.insert(key(&p.name), i);
            index.insert(key(&p.cas), i);
        }
        for (name, others) in SYNONYMS {
            if let Some(&i) = index.get(&key(name)) {
                index.extend(others.iter().map(|s| (key(s), i)));
            }
        }
        let statements = texts.iter().map(|(code, r)| (code.clone(), r.statement(None))).collect();
        let vapour = rows::<Antoine>(include_str!("data/antoine.csv"));
        Tables { compounds, statements, vapour, index }
    }
}

/// What names are compared by: lower case, one kind of hyphen, single spaces, Greek letters spelt out.
fn key(name: &str) -> String {
    let mut out = String::with_capacity(name.len());
    for c in name.trim().chars().flat_map(char::to_lowercase) {
        match c {
            '\u{2010}'..='\u{2013}' | '\u{2212}' => out.push('-'),
            'α' => out.push_str("alpha"),
            'β' => out.push_str("beta"),
            c if c.is_whitespace() => {
                if !out.ends_with(' ') {
                    out.push(' ');
                }
            }
            c => out.push(c),
        }
    }
    out
}

fn rows<T: DeserializeOwned>(text: &str) -> Vec<T> {
    csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes())
        .deserialize()
        .collect::<Result<_, _>>()
        .expect("the tables are part of the program, and a test reads them")
}

fn by_key<T>(rows: Vec<T>, key: impl Fn(&T) -> &String) -> BTreeMap<String, T> {
    rows.into_iter().map(|r| (key(&r).clone(), r)).collect()
}

#[derive(Deserialize)]
struct PhysicalRow {
    name: String,
    cas: String,
    formula: String,
    mw_g_mol: f64,
    #[serde(rename = "tb_crc_C")]
    tb_crc: Option<f64>,
    #[serde(rename = "tb_webbook_C")]
    tb_webbook: Option<f64>,
    #[serde(rename = "tb_wikidata_C")]
    tb_wikidata: Option<f64>,
    #[serde(rename = "rho20_g_mL")]
    rho20: Option<f64>,
    #[serde(rename = "rho25_g_mL")]
    rho25: Option<f64>,
    #[serde(rename = "rho_crc_g_mL")]
    rho_crc: Option<f64>,
    #[serde(rename = "hvap_tb_J_mol")]
    hvap_tb: Option<f64>,
    #[serde(rename = "hvap_298_J_mol")]
    hvap_298: Option<f64>,
}

#[derive(Deserialize)]
struct FlammabilityRow {
    cas: String,
    nfpa_lfl_pct: Option<f64>,
    nfpa_ufl_pct: Option<f64>,
    iec_lfl_pct: Option<f64>,
    iec_ufl_pct: Option<f64>,
    #[serde(rename = "autoignition_nfpa_C")]
    autoignition_nfpa: Option<f64>,
    #[serde(rename = "autoignition_iec_C")]
    autoignition_iec: Option<f64>,
}

#[derive(Deserialize)]
struct HazardRow {
    cas: String,
    signal_word: String,
    hazard_statements: String,
    pictograms: String,
    source_ghs: String,
    status_ghs: String,
    note_ghs: String,
    osha_pel_ppm: String,
    pel_year: Option<u16>,
    niosh_rel_ppm: String,
    rel_year: Option<u16>,
    source_limits: String,
    status_limits: String,
    note_limits: String,
    #[serde(rename = "flash_point_C")]
    flash_point: Option<f64>,
    source_flash: String,
    note_flash: String,
}

#[derive(Deserialize)]
struct StatementRow {
    code: String,
    text: String,
    source: String,
    status: String,
}

impl PhysicalRow {
    fn properties(
        self,
        hazard: Option<&HazardRow>,
        flammability: Option<&FlammabilityRow>,
        texts: &BTreeMap<String, StatementRow>,
    ) -> Properties {
        let two = |n: fn(&FlammabilityRow) -> Option<f64>, i: fn(&FlammabilityRow) -> Option<f64>, lowest, unit| {
            flammability.and_then(|f| cautious(n(f), i(f), lowest, unit))
        };
        Properties {
            boiling_point_c: self.boiling_point(),
            density_20_g_ml: self.rho20.map(|rho| self.density(rho)),
            density_25_g_ml: self.rho25.map(|rho| self.density(rho)),
            density_room_g_ml: self.rho_crc.map(|value| SourcedNumber {
                value,
                u: None,
                source: CRC_DENSITY.to_string(),
                note: Some("20 or 25 °C, the source as read does not say which; between them lie 0.5 to 0.9 %".into()),
            }),
            family: vapour::family(&self.name).map(str::to_owned),
            vaporisation_enthalpy_boiling_kj_mol: self.hvap_tb.map(|h| plain(h / 1000.0, CRC_ENTHALPY)),
            vaporisation_enthalpy_25_kj_mol: self.hvap_298.map(|h| plain(h / 1000.0, CRC_ENTHALPY)),
            flash_point_c: hazard.and_then(HazardRow::flash_point),
            autoignition_c: two(|f| f.autoignition_nfpa, |f| f.autoignition_iec, true, "°C"),
            lower_flammable_limit_percent: two(|f| f.nfpa_lfl_pct, |f| f.iec_lfl_pct, true, "%"),
            upper_flammable_limit_percent: two(|f| f.nfpa_ufl_pct, |f| f.iec_ufl_pct, false, "%"),
            hazards: hazard.and_then(|h| h.hazards(texts)),
            exposure_limits: hazard.map(HazardRow::limits).unwrap_or_default(),
            remarks: hazard.map(HazardRow::remarks).unwrap_or_default(),
            name: self.name,
            cas: self.cas,
            formula: self.formula,
            molar_mass_g_mol: self.mw_g_mol,
        }
    }

    /// The first source that has it; a note where the sources disagree.
    fn boiling_point(&self) -> Option<SourcedNumber> {
        let all = [(self.tb_crc, CRC_BOILING), (self.tb_webbook, WEBBOOK), (self.tb_wikidata, WIKIDATA)];
        let found: Vec<(f64, &str)> = all.iter().filter_map(|(t, s)| t.map(|t| (t, *s))).collect();
        let &(value, source) = found.first()?;
        let low = found.iter().map(|f| f.0).fold(f64::INFINITY, f64::min);
        let high = found.iter().map(|f| f.0).fold(f64::NEG_INFINITY, f64::max);
        // Half a unit of the last printed digit, so that 0.50 is not above 0.50.
        let note = (high - low > BOILING_NOTE_K + 0.005).then(|| {
            let others: Vec<_> = found[1..].iter().map(|(t, s)| format!("{s} {t} °C")).collect();
            format!("sources are {:.2} K apart: {}", high - low, others.join(", "))
        });
        Some(SourcedNumber { value, u: None, source: source.to_string(), note })
    }

    /// A density of the equation, with what the other source says about it.
    fn density(&self, rho: f64) -> SourcedNumber {
        let spread = self.density_spread();
        let u = spread.map(|d| rho * (d * d / 3.0 + DENSITY_EQUATION * DENSITY_EQUATION).sqrt());
        let note = match (spread, self.rho_crc) {
            (Some(d), Some(crc)) if d > DENSITY_NOTE => Some(format!(
                "sources are up to {:.1} % apart (CRC Handbook {crc} g/mL at 20 or 25 °C): weigh a known volume, or take the supplier's figure",
                100.0 * d
            )),
            (Some(_), _) => None,
            (None, _) => Some("one source only".to_string()),
        };
        SourcedNumber { value: rho, u, source: PERRY.to_string(), note }
    }

    /// Relative difference of the two sources. The second means 20 or 25 °C: the nearer is taken only
    /// where it is nearer by a factor of three, otherwise the farther, so that the doubt stays in.
    fn density_spread(&self) -> Option<f64> {
        let (at_20, at_25, other) = (self.rho20?, self.rho25?, self.rho_crc?);
        let (a, b) = ((other / at_20 - 1.0).abs(), (other / at_25 - 1.0).abs());
        let (near, far) = if a < b { (a, b) } else { (b, a) };
        Some(if near < far / 3.0 { near } else { far })
    }
}

impl HazardRow {
    fn hazards(&self, texts: &BTreeMap<String, StatementRow>) -> Option<Hazards> {
        if self.status_ghs != "verified" || self.hazard_statements.is_empty() {
            return None;
        }
        let notes = list(&self.note_ghs, "||");
        Some(Hazards {
            signal_word: self.signal_word.clone(),
            statements: list(&self.hazard_statements, ";")
                .into_iter()
                .map(|code| match texts.get(&code) {
                    Some(row) => row.statement(stated_organs(&notes, &code)),
                    None => unknown(&code),
                })
                .collect(),
            pictograms: list(&self.pictograms, ";"),
            source: self.source_ghs.clone(),
            notes,
        })
    }

    fn limits(&self) -> Vec<ExposureLimit> {
        if self.status_limits != "verified" {
            return Vec::new();
        }
        let all =
            [("OSHA PEL", &self.osha_pel_ppm, 8, self.pel_year), ("NIOSH REL", &self.niosh_rel_ppm, 10, self.rel_year)];
        all.into_iter()
            .filter(|(_, printed, ..)| !printed.is_empty())
            .map(|(kind, printed, hours, year)| {
                let limit = limits::read(printed, hours).expect("a test reads every limit of the table");
                ExposureLimit {
                    kind: kind.to_string(),
                    average_ppm: limit.average_ppm,
                    text: limit.text,
                    year,
                    source: self.source_limits.clone(),
                    note: (!self.note_limits.is_empty()).then(|| list(&self.note_limits, "||").join("; ")),
                }
            })
            .collect()
    }

    fn flash_point(&self) -> Option<SourcedNumber> {
        let value = self.flash_point.filter(|_| !self.source_flash.is_empty())?;
        let note = (!self.note_flash.is_empty()).then(|| list(&self.note_flash, "||").join("; "));
        Some(SourcedNumber { value, u: None, source: self.source_flash.clone(), note })
    }

    /// Why there are no hazards, no flash point, no limits.
    fn remarks(&self) -> Vec<String> {
        let mut out = Vec::new();
        if self.status_ghs != "verified" {
            out.extend(list(&self.note_ghs, "||"));
        }
        if self.flash_point.is_none() {
            out.extend(list(&self.note_flash, "||"));
        }
        if self.status_limits != "verified" {
            out.extend(list(&self.note_limits, "||"));
        }
        out
    }
}

impl StatementRow {
    /// The statement; `organs` are those that Table 3 states for the compound.
    fn statement(&self, organs: Option<&str>) -> HazardStatement {
        let (text, remark) = match organs {
            Some(organs) => (
                Some(self.text.replace(ORGANS, &format!(" ({organs})")).replace(ROUTE, "")),
                Some("organs as stated in Annex VI Table 3, which states no route of exposure".to_string()),
            ),
            None if self.is_open() => {
                (None, Some("its text is completed by the supplier: read the label or safety data sheet".to_string()))
            }
            None => (Some(self.text.clone()), None),
        };
        HazardStatement { code: self.code.clone(), text, remark, source: self.source.clone() }
    }

    /// Words are left to be filled in or chosen; in precautionary statements slashes and brackets are choices too.
    fn is_open(&self) -> bool {
        let choice = self.code.starts_with('P') && self.text.contains(['/', '[']);
        choice || self.text.contains(['<', '…']) || self.text.contains("...")
    }
}

fn plain(value: f64, source: &str) -> SourcedNumber {
    SourcedNumber { value, u: None, source: source.to_string(), note: None }
}

/// A code without a verified text: kept, so that no hazard is lost.
fn unknown(code: &str) -> HazardStatement {
    HazardStatement {
        code: code.to_string(),
        text: None,
        remark: Some("its text is not in this table: read the Regulation".to_string()),
        source: String::new(),
    }
}

/// What an entry's notes state for a code, as in `Table 3 specifies: H372 (nervous system)`.
fn stated_organs<'a>(notes: &'a [String], code: &str) -> Option<&'a str> {
    notes.iter().find_map(|n| {
        let rest = n.strip_prefix("Table 3 specifies: ")?.strip_prefix(code)?;
        rest.trim().strip_prefix('(')?.strip_suffix(')')
    })
}

/// The more cautious of two values, the lower or the higher, with what the other source says.
fn cautious(nfpa: Option<f64>, iec: Option<f64>, lowest: bool, unit: &str) -> Option<SourcedNumber> {
    let (value, source, note) = match (nfpa, iec) {
        (Some(n), Some(i)) if n == i => (n, format!("{NFPA} and {IEC}"), None),
        (Some(n), Some(i)) if (n < i) == lowest => (n, NFPA.to_string(), Some(format!("{IEC}: {i} {unit}"))),
        (Some(n), Some(i)) => (i, IEC.to_string(), Some(format!("{NFPA}: {n} {unit}"))),
        (Some(n), None) => (n, NFPA.to_string(), Some("one source only".to_string())),
        (None, Some(i)) => (i, IEC.to_string(), Some("one source only".to_string())),
        (None, None) => return None,
    };
    Some(SourcedNumber { value, u: None, source, note })
}

fn list(text: &str, separator: &str) -> Vec<String> {
    text.split(separator).map(str::trim).filter(|s| !s.is_empty()).map(str::to_string).collect()
}
