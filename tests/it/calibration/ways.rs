//! Other ways of quantifying: normalisation, effective carbon numbers, one standard, two standards.

use super::{number, reference, same};
use vialbook::numeric::Xoshiro256PlusPlus;
use vialbook::quantify::{
    CARBON_NUMBER_RELATIVE_U, CarbonGroups, Caution, FlaskMeans, NormalisedPeak, UnseenComponent, by_one_standard,
    by_two_standards, carbon_number_factor, normalise,
};

fn peak(compound: &str, area: f64, factor: f64) -> NormalisedPeak {
    NormalisedPeak { compound: compound.to_owned(), area, area_u: 0.01 * area, factor, factor_relative_u: 0.02 }
}

#[test]
fn butanols_of_skoog() {
    let file = reference("calib_area_normalisation_butanols");
    let data = &file["data"];
    let (mass, area) = (&data["mass_g"], &data["peak_area_cm2"]);
    let of = |k: &str| number(mass, k) / number(area, k);
    let names = ["n", "i", "s", "t"];
    for k in names {
        same(&format!("F of {k}"), of(k) / of("n"), number(&file["recomputed"]["F"], k), 5.0);
    }
    // The standard itself, normalised with its own factors, gives its masses back.
    let peaks: Vec<NormalisedPeak> = names.iter().map(|k| peak(k, number(area, k), of(k) / of("n"))).collect();
    let shares = normalise(&peaks, &[]).expect("shares");
    for (k, share) in names.iter().zip(&shares) {
        same(k, 100.0 * share.mass_fraction, number(&file["recomputed"]["mass_percent"], k), 5.5);
    }
    let total: f64 = shares.iter().map(|s| s.mass_fraction).sum();
    same("sum", total, 1.0, 14.0);
    // With 10 % of water that a flame does not show, every share is nine tenths.
    let water = |w| [UnseenComponent { compound: "water".to_owned(), mass_fraction: w }];
    let wet = normalise(&peaks, &water(Some([0.1, 0.01]))).expect("shares");
    for (a, b) in wet.iter().zip(&shares) {
        same(&a.compound, a.mass_fraction, 0.9 * b.mass_fraction, 13.0);
        same("u from the water", a.u_unseen, 0.01 * b.mass_fraction, 13.0);
    }
    let refused = normalise(&peaks, &water(None)).expect_err("water");
    assert!(refused.to_string().contains("does not show water"), "{refused}");
}

/// u against 10⁵ draws of areas and factors, each normal with its own relative u.
#[test]
fn shares_scatter_as_stated() {
    let peaks = [peak("a", 80.0, 1.0), peak("b", 15.0, 1.3), peak("c", 5.0, 0.7)];
    let shares = normalise(&peaks, &[]).expect("shares");
    let mut random = Xoshiro256PlusPlus::seeded(3);
    let n = 100_000;
    let (mut sum, mut square) = ([0.0; 3], [0.0; 3]);
    for _ in 0..n {
        let mut q = peaks.clone().map(|p| p.area * p.factor);
        q.iter_mut().for_each(|q| *q *= (1.0 + 0.01 * random.normal()) * (1.0 + 0.02 * random.normal()));
        let total: f64 = q.iter().sum();
        for i in 0..3 {
            let off = q[i] / total - shares[i].mass_fraction;
            sum[i] += off;
            square[i] += off * off;
        }
    }
    for i in 0..3 {
        let mean = sum[i] / f64::from(n);
        let sd = (square[i] / f64::from(n) - mean * mean).sqrt();
        // The draws' own error is 0.22 %, the linear formula's about as much again.
        assert!((shares[i].u / sd - 1.0).abs() < 0.015, "{}: {} instead of {sd}", shares[i].compound, shares[i].u);
    }
}

/// Dietz's measured sensitivities by mass relative to heptane beside effective carbon numbers.
#[test]
fn effective_carbon_numbers_beside_measured_sensitivities() {
    let groups = |name: &str| -> Option<CarbonGroups> {
        let g = CarbonGroups::default();
        Some(match name {
            "hexane" => CarbonGroups { aliphatic: 6, ..g },
            "octane" => CarbonGroups { aliphatic: 8, ..g },
            "cyclohexane" => CarbonGroups { aliphatic: 6, ..g },
            "toluene" => CarbonGroups { aliphatic: 1, aromatic: 6, ..g },
            "1-hexene" => CarbonGroups { aliphatic: 4, olefinic: 2, ..g },
            "methanol" => CarbonGroups { aliphatic: 1, primary_alcohol: 1, ..g },
            "ethanol" => CarbonGroups { aliphatic: 2, primary_alcohol: 1, ..g },
            "2-propanol" => CarbonGroups { aliphatic: 3, secondary_alcohol: 1, ..g },
            "tert-butanol" => CarbonGroups { aliphatic: 4, tertiary_alcohol_or_ester: 1, ..g },
            "acetone" => CarbonGroups { aliphatic: 2, carbonyl: 1, ..g },
            "ethyl acetate" => CarbonGroups { aliphatic: 3, carbonyl: 1, tertiary_alcohol_or_ester: 1, ..g },
            _ => return None,
        })
    };
    let heptane = CarbonGroups { aliphatic: 7, ..CarbonGroups::default() };
    let path = format!("{}/tests/data/calibration/fid_relative_response.csv", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).expect("file");
    let (mut seen, mut all) = (0, Vec::new());
    for row in text.lines().filter(|l| !l.starts_with('#')).skip(1) {
        let cells: Vec<&str> = row.split(',').collect();
        let cell = |i: usize| cells[i].parse::<f64>().expect("number");
        let oxygen_of_acid = cells[0].contains("acetate") || cells[0].contains("acid");
        if !oxygen_of_acid {
            all.push(cell(5) - 1.0);
        }
        let Some(g) = groups(cells[0]) else { continue };
        let factor = carbon_number_factor(&g, cell(3), &heptane, 100.205).expect("factor");
        same(cells[0], 1.0 / factor, cell(4), 3.5);
        if !oxygen_of_acid {
            assert!((cell(1) * factor - 1.0).abs() < 3.0 * CARBON_NUMBER_RELATIVE_U, "{}", cells[0]);
        }
        seen += 1;
    }
    assert_eq!(seen, 11);
    let spread = (all.iter().map(|d| d * d).sum::<f64>() / all.len() as f64).sqrt();
    println!("{} compounds: spread {spread:.4}", all.len());
    assert!(spread < CARBON_NUMBER_RELATIVE_U && spread > 0.5 * CARBON_NUMBER_RELATIVE_U);
    let nothing = CarbonGroups { carbonyl: 1, ..CarbonGroups::default() };
    assert!(carbon_number_factor(&nothing, 30.0, &heptane, 100.205).is_err());
}

/// 95 % intervals cover where what they take for granted holds, and say what it is.
#[test]
fn one_and_two_standards_cover_a_proportional_response() {
    let draws = 4000;
    let (mut one, mut two) = (0, 0);
    for i in 0..draws {
        let mut random = Xoshiro256PlusPlus::stream(47, i);
        let mut flasks = |content: f64| FlaskMeans {
            content,
            responses: (0..3).map(|_| 10.0 * content * (1.0 + 0.02 * random.normal())).collect(),
        };
        let (low, high, sample) = (flasks(1.0), flasks(2.0), flasks(1.6));
        let holds = |b: vialbook::quantify::Bracketed| b.interval.is_some_and(|[a, z]| a <= 1.6 && 1.6 <= z);
        one += u32::from(holds(by_one_standard(&high, &sample).expect("content")));
        two += u32::from(holds(by_two_standards(&low, &high, &sample).expect("content")));
    }
    for (name, covered) in [("one standard", one), ("two standards", two)] {
        let share = f64::from(covered) / draws as f64;
        println!("{name}: {share:.3}");
        assert!((share - 0.95).abs() < 0.01 + 2.0 * 0.0035, "{name}: {share}");
    }
    let pair = |content, y: f64| FlaskMeans { content, responses: vec![y, 1.01 * y] };
    let far = by_one_standard(&pair(1.0, 10.0), &pair(0.0, 30.0)).expect("content");
    assert!(far.u.is_none() && far.cautions.len() == 3, "{:?}", far.cautions);
    let outside = by_two_standards(&pair(1.0, 10.0), &pair(2.0, 20.0), &pair(0.0, 30.0)).expect("content");
    assert!(outside.cautions.contains(&Caution::OutsideBracket));
}
