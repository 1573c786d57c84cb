//! Estimates and number-to-text rules against the GUM's published examples, a t table, and their own promises.
//!
//! GUM is JCGM 100:2008. The text of 7.2.6 was seen quoted in full; NIST Technical Note 1297 (1994), 7, has the
//! example of 7.2.2 too. Entries marked "from memory" were not compared with the printed page; their figures were
//! recomputed by hand from the inputs given beside them.

use vialbook::estimate::{
    Estimate, UncertaintyDigits, concise, interval_text, plus_minus, rounded, rounded_pair, significant, typographic,
    welch_satterthwaite,
};

const INF: f64 = f64::INFINITY;
const NAN: f64 = f64::NAN;

#[test]
fn published_results_are_written_as_published() {
    // value, u, unit, text; the GUM writes a space between groups of three digits, left out here.
    let concise_form = [
        (100.021_47, 0.35e-3, "g", "100.02147(35) g"), // GUM 7.2.2, TN 1297 7.: u 0.35 mg
        (10.057_62, 27e-3, "Ω", "10.058(27) Ω"),       // GUM 7.2.6: y is rounded to 10.058 Ω
        (50.000_838, 32e-6, "mm", "50.000838(32) mm"), // GUM H.1.7, from memory: u 32 nm
        (-0.171_203_790_1, 0.002_877_597_835, "°C", "-0.1712(29) °C"), // GUM table H.6, intercept −0.1712, s 0.0029
        (0.002_182_697_74, 0.000_667_938_773_2, "", "0.00218(67)"), // GUM table H.6, slope 0.00218, s 0.00067
        (-0.149_376_81, 0.004_138_595_8, "°C", "-0.1494(41) °C"), // GUM H.3.4, correction at 30 °C
    ];
    for (value, u, unit, text) in concise_form {
        assert_eq!(concise(value, u, unit), text);
    }
    let plus_minus_form = [
        (100.021_47, 0.79e-3, "g", "100.02147 ± 0.00079 g"), // GUM 7.2.4, TN 1297 7.: expanded, k = 2.26
        (50.000_838, 93e-6, "mm", "50.000838 ± 0.000093 mm"), // GUM H.1.7, from memory: expanded, k = 2.92
        (127.732, 0.071, "Ω", "127.732 ± 0.071 Ω"),          // GUM table H.4, from memory: R
        (219.847, 0.295, "Ω", "219.85 ± 0.30 Ω"),            // GUM table H.4, from memory: X, there with 3 digits of u
        (254.260, 0.236, "Ω", "254.26 ± 0.24 Ω"),            // GUM table H.4, from memory: Z, there with 3 digits of u
    ];
    for (value, u, unit, text) in plus_minus_form {
        assert_eq!(plus_minus(value, u, unit), text);
    }
}

#[test]
fn uncertainties_are_rounded_to_the_nearest() {
    // GUM 7.2.6: 28.05 kHz becomes 28 kHz. Its 10.47 mΩ "might" become 11 mΩ; this crate never rounds up: 10.
    assert_eq!(rounded_pair(1000.0, 28.05), ("1000".into(), "28".into()));
    assert_eq!(rounded_pair(1000.0, 10.47), ("1000".into(), "10".into()));
}

#[test]
fn rounding_table() {
    // value, u, value and u with two digits, with one. Worked by hand; ties: ISO 80000-1:2009, B.3, rule A.
    let table = [
        (9.96, 0.50, ("9.96", "0.50"), ("10.0", "0.5")),
        (0.0996, 0.0996, ("0.10", "0.10"), ("0.1", "0.1")),
        (1.0, 0.996, ("1.0", "1.0"), ("1", "1")),
        (0.285, 0.10, ("0.28", "0.10"), ("0.3", "0.1")), // ties to even; the double lies below 0.285
        (0.275, 0.10, ("0.28", "0.10"), ("0.3", "0.1")), // the double lies above 0.275
        (1.005, 0.10, ("1.00", "0.10"), ("1.0", "0.1")),
        (2.5, 14.5, ("2", "14"), ("0", "10")),
        (-0.001, 0.5, ("0.00", "0.50"), ("0.0", "0.5")),
        (-0.0, 0.5, ("0.00", "0.50"), ("0.0", "0.5")),
        (-0.005, 0.5, ("0.00", "0.50"), ("0.0", "0.5")), // tie to even zero, no sign
        (-0.006, 0.5, ("-0.01", "0.50"), ("0.0", "0.5")),
        (-12.345, 0.12, ("-12.34", "0.12"), ("-12.3", "0.1")),
        (0.04, 1.0, ("0.0", "1.0"), ("0", "1")),
        (0.6, 95.0, ("1", "95"), ("0", "100")),
        (1e-20, 5.0, ("0.0", "5.0"), ("0", "5")),
        (123_456.0, 1234.0, ("123500", "1200"), ("123000", "1000")),
        (55.0, 1200.0, ("100", "1200"), ("0", "1000")),
        (50.0, 1200.0, ("0", "1200"), ("0", "1000")), // tie to even zero
        (999_999.0, 12.0, ("999999", "12"), ("1.00000 × 10^6", "0.00001 × 10^6")),
        (999_999.97, 1.0, ("1.0000000 × 10^6", "0.0000010 × 10^6"), ("1.000000 × 10^6", "0.000001 × 10^6")),
        (0.0002, 1e-6, ("0.0002000", "0.0000010"), ("0.000200", "0.000001")),
        (1.234e-5, 5.6e-7, ("1.234 × 10^-5", "0.056 × 10^-5"), ("1.23 × 10^-5", "0.06 × 10^-5")),
        (0.0, 5e-5, ("0.0 × 10^-5", "5.0 × 10^-5"), ("0 × 10^-5", "5 × 10^-5")),
        (0.3e7, 1.2e7, ("0.3 × 10^7", "1.2 × 10^7"), ("0 × 10^7", "1 × 10^7")),
        (-1.234e300, 5.6e298, ("-1.234 × 10^300", "0.056 × 10^300"), ("-1.23 × 10^300", "0.06 × 10^300")),
    ];
    for (value, u, two, one) in table {
        let pair = |digits: UncertaintyDigits| digits.rounded_pair(value, u);
        assert_eq!(pair(UncertaintyDigits::Two), (two.0.into(), two.1.into()), "{value} u {u}");
        assert_eq!(pair(UncertaintyDigits::One), (one.0.into(), one.1.into()), "{value} u {u}");
        assert_eq!(rounded(value, u), two.0);
    }
}

#[test]
fn without_usable_uncertainty_four_digits() {
    for u in [0.0, -0.0, -1.0, NAN, INF, -INF] {
        assert_eq!(plus_minus(12.345_67, u, "mV"), "12.35 mV");
        assert_eq!(concise(-12.345_67, u, "mV"), "-12.35 mV");
        assert_eq!(rounded(0.0, u), "0");
    }
    assert_eq!(rounded_pair(12.345_67, 0.0), ("12.35".into(), "0".into()));
    assert_eq!(rounded_pair(12.345_67, NAN), ("12.35".into(), "not known".into()));
    assert_eq!(plus_minus(NAN, 0.1, "mV"), "not a number mV");
    assert_eq!(plus_minus(-INF, 0.1, ""), "-∞");
    // An uncertainty below the spacing of doubles: each for itself, no invented digits.
    assert_eq!(plus_minus(1.5, 1e-30, "V"), "1.5000000000000000 ± 1.0 × 10^-30 V");
}

#[test]
fn significant_digits() {
    let table = [
        (0.0, 3, "0"),
        (-0.0, 3, "0"),
        (5.0, 4, "5.000"),
        (0.099_96, 3, "0.100"),
        (999.6, 3, "1000"),
        (123_456.0, 3, "123000"),
        (999_999.0, 6, "999999"),
        (999_999.6, 6, "1.00000 × 10^6"),
        (0.0001, 2, "0.00010"),
        (0.000_099_6, 2, "0.00010"),
        (0.000_099_4, 2, "9.9 × 10^-5"),
        (-1.25e-7, 2, "-1.2 × 10^-7"),
        (1.5, 0, "2"),
        (0.1, 99, "0.10000000000000000"),
        (f64::MIN_POSITIVE, 3, "2.23 × 10^-308"),
        (f64::MAX, 3, "1.80 × 10^308"),
    ];
    for (value, digits, text) in table {
        assert_eq!(significant(value, digits), text, "{value} to {digits}");
    }
}

#[test]
fn concise_in_odd_places() {
    assert_eq!(concise(123_456.0, 1234.0, "mV"), "123500(1200) mV");
    assert_eq!(concise(123_456.0, 12.0, ""), "123456(12)");
    assert_eq!(concise(12.34, 1.24, ""), "12.3(12)");
    assert_eq!(concise(1.2345e7, 5.6e5, "mV·min"), "1.234(56) × 10^7 mV·min");
    assert_eq!(UncertaintyDigits::One.concise(1.2345e7, 5.6e5, ""), "1.23(6) × 10^7");
}

#[test]
fn intervals_in_words() {
    let (low, high) = (Some(0.357_2), Some(0.482_8));
    let table = [
        ([low, high], 0.0282, "0.357 to 0.483 % v/v"),
        ([low, high], 0.282, "0.36 to 0.48 % v/v"),
        ([low, None], 0.282, "above 0.36 % v/v"),
        ([None, high], 0.282, "below 0.48 % v/v"),
        ([None, None], 0.282, "no limit either way"),
        ([Some(-INF), Some(INF)], 0.282, "no limit either way"),
        ([Some(-0.021), Some(0.314)], 0.1, "-0.02 to 0.31 % v/v"),
        ([Some(-0.001), Some(0.314)], 0.1, "0.00 to 0.31 % v/v"),
        ([low, high], NAN, "0.357 to 0.483 % v/v"), // half width 0.0628
        ([low, high], 7.0, "0.4 to 0.5 % v/v"),
        ([low, high], 70.0, "0.357 to 0.483 % v/v"), // would both read 0
        ([Some(1000.1), Some(1000.4)], 70.0, "1000.10 to 1000.40 % v/v"), // would both read 1000
        ([Some(2.0), Some(2.0)], 0.1, "2.00 to 2.00 % v/v"),
        ([Some(1.2e7), Some(1.45e7)], 6e5, "(1.200 to 1.450) × 10^7 % v/v"),
        ([Some(1.2e7), None], NAN, "above 1.200 × 10^7 % v/v"),
    ];
    for (ends, u, text) in table {
        let full = interval_text(ends, u, "% v/v");
        assert_eq!(full, text, "{ends:?} u {u}");
    }
}

#[test]
fn typographic_signs() {
    let table = [
        ("-1.5 mV", "\u{2212}1.5 mV"),
        ("(-1.234 ± 0.056) × 10^-12", "(\u{2212}1.234 ± 0.056) × 10⁻¹²"),
        ("-0.02 to -0.01", "\u{2212}0.02 to \u{2212}0.01"),
        ("-∞", "\u{2212}∞"),
        ("2 × 10^34567890", "2 × 10³⁴⁵⁶⁷⁸⁹⁰"),
        ("2-methyl-1-propanol", "2-methyl-1-propanol"),
        ("(E)-2-hexenal", "(E)-2-hexenal"),
        ("2024-11-05", "2024-11-05"),
        ("1e-5", "1e-5"),
        ("run-3 - 4", "run-3 - 4"),
        ("210^3, 1.10^2, 10^x, 10^-", "210^3, 1.10^2, 10^x, 10^-"),
        ("", ""),
    ];
    for (plain, set) in table {
        assert_eq!(typographic(plain), set);
        assert_eq!(typographic(set), set, "twice is once");
    }
}

#[test]
fn coverage_factors_of_the_t_table() {
    let table = include_str!("../data/numeric/stats_t_table.csv");
    let columns = [0.90, 0.95, 0.975, 0.99, 0.995, 0.9995];
    let mut seen = 0;
    for line in table.lines().filter(|l| l.starts_with(|c: char| c.is_ascii_digit())) {
        let numbers: Vec<f64> = line.split(',').map(|n| n.parse().expect("a number")).collect();
        for (p, t) in columns.iter().zip(&numbers[1..]) {
            let k = Estimate::new(1.0, 1.0, numbers[0], "").coverage_factor(2.0 * p - 1.0);
            assert!((k - t).abs() < 0.6e-6 * t.max(1.0), "ν {} p {p}: {k}, table {t}", numbers[0]);
            seen += 1;
        }
    }
    assert!(seen >= 6 * 34, "{seen} entries");
    // GUM 7.2.4: k = 2.26 for ν = 9 at 95 %; GUM H.1.6, from memory: t₉₉(16) = 2.92.
    assert_eq!(significant(Estimate::new(1.0, 1.0, 9.0, "").coverage_factor(0.95), 3), "2.26");
    assert_eq!(significant(Estimate::new(1.0, 1.0, 16.0, "").coverage_factor(0.99), 3), "2.92");
    for (level, dof) in [(0.0, 5.0), (1.0, 5.0), (-0.5, 5.0), (NAN, 5.0), (0.95, 0.0), (0.95, -1.0), (0.95, NAN)] {
        assert!(Estimate::new(1.0, 1.0, dof, "").coverage_factor(level).is_nan());
    }
}

#[test]
fn welch_satterthwaite_of_the_gum() {
    // GUM G.4.1, example, from memory: relative u of three factors in %, ν 9, 4, 14; u_c 1.03 %, ν_eff 19.0,
    // t₉₅ 2.09, U 2.2 %. By hand: 1.0598² / (0.00390625/9 + 0.10556001/4 + 0.45212176/14) = 1.12317604/0.05911844 = 18.9987.
    let factor = |percent: f64, dof| Estimate::new(1.0, percent / 100.0, dof, "");
    let product = factor(0.25, 9.0).times(&factor(0.57, 4.0)).times(&factor(0.82, 14.0));
    assert_eq!(significant(product.standard_uncertainty * 100.0, 3), "1.03");
    assert_eq!(significant(product.coverage_factor(0.95), 3), "2.09");
    assert_eq!(significant(product.expanded(0.95) * 100.0, 2), "2.2");
    let together = welch_satterthwaite(&[(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)]);
    assert!((together - 18.9987).abs() < 1e-3, "{together}");
    assert!((product.dof - together).abs() < 1e-9, "two at a time is all at once");

    // GUM H.1.6, from memory: 25 nm (18), 9.7 nm (25.6), 2.9 nm (50), 16.6 nm (2) give u 32 nm and ν 16.7.
    let parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)];
    let sum = parts.iter().map(|p| Estimate::new(0.0, p.0, p.1, "nm")).reduce(|a, b| a.plus(&b).expect("both nm"));
    let sum = sum.expect("four parts");
    assert_eq!(significant(sum.standard_uncertainty, 2), "32");
    assert!((sum.dof - 16.7).abs() < 0.1, "{}", sum.dof);

    // Equal parts: ν adds. Exact and infinite parts leave ν alone; all infinite stays so; none at all spoils it.
    assert!((welch_satterthwaite(&[(1e200, 5.0), (1e200, 5.0)]) - 10.0).abs() < 1e-12);
    assert_eq!(welch_satterthwaite(&[(1e-200, 5.0), (0.0, 0.0)]), 5.0);
    assert!((welch_satterthwaite(&[(1.0, 5.0), (1.0, INF)]) - 20.0).abs() < 1e-12);
    assert_eq!(welch_satterthwaite(&[(1.0, INF), (2.0, INF)]), INF);
    assert_eq!(welch_satterthwaite(&[]), INF);
    for part in [(1.0, 0.0), (1.0, NAN), (NAN, 5.0), (INF, 5.0)] {
        assert_eq!(welch_satterthwaite(&[(1.0, 5.0), part]), 0.0);
    }
}

#[test]
fn arithmetic_propagates_to_first_order() {
    // By hand: √(0.3² + 0.4²) = 0.5; relative √(0.03² + 0.04²) = 0.05.
    let (a, b) = (Estimate::new(10.0, 0.3, 5.0, "mV"), Estimate::new(-10.0, 0.4, INF, "mV"));
    let close = |x: &Estimate, value: f64, u: f64, unit: &str| {
        assert!((x.value - value).abs() < 1e-12 && (x.standard_uncertainty - u).abs() < 1e-12, "{x:?}");
        assert_eq!(x.unit, unit);
    };
    close(&a.plus(&b).expect("mV"), 0.0, 0.5, "mV");
    close(&a.minus(&b).expect("mV"), 20.0, 0.5, "mV");
    close(&a.times(&b), -100.0, 5.0, "mV·mV");
    close(&a.over(&b).expect("not 0"), -1.0, 0.05, "");
    close(&a.scaled(-2.0), -20.0, 0.6, "mV");
    close(&Estimate::new(0.0, 0.3, 5.0, "mV").over(&b).expect("not 0"), 0.0, 0.03, "");
    close(
        &Estimate::new(1.0, 0.0, INF, "").over(&Estimate::new(4.0, 0.4, 3.0, "mg/L")).expect("not 0"),
        0.25,
        0.025,
        "1/(mg/L)",
    );
    close(&a.over(&Estimate::new(2.0, 0.0, INF, "min")).expect("not 0"), 5.0, 0.15, "mV/min");
    close(&Estimate::new(420.0, 12.0, 6.0, "µg/mL").in_unit("g/L").expect("same quantity"), 0.42, 0.012, "g/L");
    let different = a.plus(&Estimate::new(1.0, 0.1, 5.0, "V")).expect_err("units differ").to_string();
    assert!(different.starts_with("10.00(30) mV and 1.00(10) V have different units"), "{different}");
    assert!(a.over(&Estimate::new(0.0, 0.1, 5.0, "mV")).is_err());
    assert!(a.in_unit("mg/L").is_err());
    let unknown = a.plus(&Estimate::new(1.0, NAN, 5.0, "mV")).expect("mV");
    assert!(unknown.standard_uncertainty.is_nan() && unknown.dof == 0.0);
}

#[test]
fn statements_of_a_result() {
    let table = [
        (0.4213, 0.0135, 10.0, "0.421 ± 0.030 % v/v (k = 2.2, 95 %)"), // t 2.228139
        (0.4213, 0.0135, INF, "0.421 ± 0.026 % v/v (k = 2.0, 95 %)"),  // 1.959964
        (0.4213, 0.0135, 1.0, "0.42 ± 0.17 % v/v (k = 13, 95 %)"),     // 12.706205
        (-0.0013, 0.0135, 10.0, "-0.001 ± 0.030 % v/v (k = 2.2, 95 %)"),
        (4.2e7, 1.35e6, 10.0, "(4.20 ± 0.30) × 10^7 % v/v (k = 2.2, 95 %)"),
        (0.4213, 0.0135, 0.0, "0.421 ± 0.014 % v/v (standard uncertainty)"), // tie to even: 0.0135 → 0.014
        (0.4213, 0.0, 0.0, "0.4213 % v/v (taken as exact)"),
        (0.4213, NAN, 10.0, "0.4213 % v/v (uncertainty not known)"),
        (0.4213, -1.0, 10.0, "0.4213 % v/v (uncertainty not known)"),
    ];
    for (value, u, dof, text) in table {
        assert_eq!(Estimate::new(value, u, dof, "% v/v").text(0.95), text);
    }
    let x = Estimate::new(0.4213, 0.0135, 10.0, "% v/v");
    assert!(x.text(0.9).ends_with(", 90 %)") && x.text(0.9545).ends_with(", 95.45 %)"));
    assert!(x.text(1.0).ends_with("(standard uncertainty)"));
    assert_eq!(x.to_string(), "0.421(14) % v/v");
    let [low, high] = x.interval(0.95);
    assert_eq!(interval_text([Some(low), Some(high)], 0.0135, "% v/v"), "0.391 to 0.451 % v/v");
}

#[test]
fn json_keeps_infinite_and_unknown() {
    let there_and_back = |x: &Estimate| -> (String, Estimate) {
        let text = serde_json::to_string(x).expect("writes");
        let back = serde_json::from_str(&text).expect("reads");
        (text, back)
    };
    let x = Estimate::new(0.1, 0.02, INF, "mV");
    let (text, back) = there_and_back(&x);
    assert_eq!(text, r#"{"value":0.1,"standard_uncertainty":0.02,"dof":null,"unit":"mV"}"#);
    assert_eq!(back, x);
    let x = Estimate::new(0.1, 0.02, 7.25, "mV");
    assert_eq!(there_and_back(&x).1, x);
    let (text, back) = there_and_back(&Estimate::new(0.1, INF, NAN, "mV"));
    assert!(text.contains(r#""standard_uncertainty":null,"dof":0.0"#), "{text}");
    assert!(back.standard_uncertainty.is_nan() && back.dof == 0.0);
    // A missing field is no infinite one.
    assert!(serde_json::from_str::<Estimate>(r#"{"value":1.0,"standard_uncertainty":0.1,"unit":""}"#).is_err());
}

/// Steele, Lea and Flood 2014, SplitMix64: draws for the promises below.
struct Draws(u64);

impl Draws {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Of either sign, and any size from 10^low to 10^high.
    fn number(&mut self, low: f64, high: f64) -> f64 {
        let size = 10_f64.powf(low + (high - low) * self.unit());
        if self.unit() < 0.5 { -size } else { size }
    }
}

/// The number a text stands for, and one unit of its last place.
fn parsed(text: &str) -> (f64, f64) {
    let (number, power) = text.split_once(" × 10^").unwrap_or((text, "0"));
    let power: i32 = power.parse().expect("a power");
    let decimals = number.split_once('.').map_or(0, |(_, d)| d.len() as i32);
    (
        format!("{number}e{power}").parse().expect("a number"),
        format!("1e{}", power - decimals).parse().expect("a place"),
    )
}

#[test]
fn what_is_printed_is_within_half_a_last_place() {
    let mut draws = Draws(1);
    for _ in 0..20_000 {
        let value = draws.number(-12.0, 12.0);
        let u = value.abs() * draws.number(-8.0, 3.0).abs();
        for digits in [UncertaintyDigits::One, UncertaintyDigits::Two] {
            let (v_text, u_text) = digits.rounded_pair(value, u);
            let ((v, v_place), (shown, u_place)) = (parsed(&v_text), parsed(&u_text));
            // Left of the point the last place is not seen in the text; it follows from u.
            let mut place = v_place;
            let places = if digits == UncertaintyDigits::One { 9.5 } else { 99.5 };
            while u / place >= places {
                place *= 10.0;
            }
            assert_eq!(v_place, u_place, "{v_text} and {u_text} end in one place");
            let slack = 1e-9 * place + 1e-15 * value.abs();
            assert!((v - value).abs() <= 0.5 * place + slack, "{value} u {u}: {v_text}");
            assert!((shown - u).abs() <= 0.5 * place + slack, "{value} u {u}: {u_text}");
            // Two digits of u: its rounding error is at most 5 %, with one digit at most a third.
            let bound = if digits == UncertaintyDigits::One { 0.334 } else { 0.0477 };
            assert!((shown / u - 1.0).abs() <= bound, "{u}: {u_text}");
            let zero = v == 0.0;
            assert!(!(zero && v_text.starts_with('-')), "{v_text}");
            // One formatter: the other forms hold the same digits.
            let both = digits.plus_minus(value, u, "");
            match both.split_once(") × 10^") {
                Some((inside, power)) => {
                    let (a, b) = inside[1..].split_once(" ± ").expect("both");
                    assert_eq!((format!("{a} × 10^{power}"), format!("{b} × 10^{power}")), (v_text, u_text));
                }
                None => assert_eq!(both, format!("{v_text} ± {u_text}")),
            }
        }
    }
}

#[test]
fn concise_reads_back_as_value_and_uncertainty() {
    let mut draws = Draws(2);
    for _ in 0..20_000 {
        let value = draws.number(-9.0, 9.0);
        let u = value.abs() * draws.number(-7.0, 2.0).abs();
        let text = concise(value, u, "");
        let (number, rest) = text.split_once('(').expect("brackets");
        let (digits, power) = rest.split_once(')').expect("brackets");
        let (v, place) = parsed(&format!("{number}{power}"));
        let (v_text, u_text) = rounded_pair(value, u);
        let shown = digits.parse::<f64>().expect("digits") * place;
        assert_eq!(v, parsed(&v_text).0);
        assert!((shown / parsed(&u_text).0 - 1.0).abs() < 1e-12, "{text} against {u_text}");
    }
}

#[test]
fn interval_ends_are_within_half_a_place_and_in_order() {
    let mut draws = Draws(3);
    for _ in 0..20_000 {
        let value = draws.number(-6.0, 8.0);
        let u = value.abs() * draws.number(-5.0, 1.0).abs();
        let [low, high] = Estimate::new(value, u, 1.0 + 20.0 * draws.unit(), "").interval(0.95);
        let text = interval_text([Some(low), Some(high)], u, "");
        let (both, power) = match text.split_once(") × 10^") {
            Some((inside, power)) => (inside[1..].to_owned(), format!(" × 10^{power}")),
            None => (text.clone(), String::new()),
        };
        let (a, b) = both.split_once(" to ").expect("two ends");
        let ((a, _), (b, _)) = (parsed(&format!("{a}{power}")), parsed(&format!("{b}{power}")));
        // The last place of two digits of u is at most u/9.95.
        let half = 0.5 * u / 9.95 * (1.0 + 1e-9);
        assert!((a - low).abs() <= half && (b - high).abs() <= half && a < b, "{low} {high} u {u}: {text}");
        // The printed interval holds the printed value.
        let shown = parsed(&rounded(value, u)).0;
        assert!(a < shown && shown < b, "{text} {shown}");
    }
}

#[test]
fn rounding_agrees_with_integer_arithmetic() {
    // Every decimal of three places from -2.000 to 2.000, to two places, against whole numbers.
    for thousandths in -2000_i64..=2000 {
        let value: f64 = format!("{thousandths}e-3").parse().expect("a number");
        let (quotient, rest) = (thousandths.abs() / 10, thousandths.abs() % 10);
        let up = rest > 5 || rest == 5 && quotient % 2 == 1;
        let hundredths = quotient + i64::from(up);
        let sign = if thousandths < 0 && hundredths != 0 { "-" } else { "" };
        let wanted = format!("{sign}{}.{:02}", hundredths / 100, hundredths % 100);
        assert_eq!(rounded(value, 0.1), wanted, "{value}");
    }
}
