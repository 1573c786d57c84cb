//! Names that formulas may use: those of the typesetter's symbols and functions that draw and do nothing else.

/// Symbols, with the typesetter's own names.
#[rustfmt::skip]
pub(super) const SYMBOLS: &[&str] = &[
    "alpha", "beta", "gamma", "delta", "epsilon", "epsilon.alt", "zeta", "eta", "theta", "theta.alt", "iota", "kappa", "lambda",
    "mu", "nu", "xi", "omicron", "pi", "rho", "rho.alt", "sigma", "tau", "upsilon", "phi", "phi.alt", "chi", "psi", "omega",
    "Gamma", "Delta", "Theta", "Lambda", "Xi", "Pi", "Sigma", "Upsilon", "Phi", "Psi", "Omega", "ell", "planck",
    "plus", "minus", "plus.minus", "minus.plus", "times", "div", "dot", "dot.op", "dot.c", "ast", "ast.op", "star", "compose",
    "eq", "eq.not", "eq.triple", "eq.def", "lt", "lt.eq", "lt.double", "gt", "gt.eq", "gt.double", "approx", "approx.not", "tilde.op", "tilde.eq", "prop",
    "infinity", "oo", "partial", "nabla", "sum", "product", "integral", "integral.double", "integral.cont",
    "arrow.r", "arrow.l", "arrow.l.r", "arrow.t", "arrow.b", "arrow.r.double", "arrow.l.r.double", "arrow.r.long", "harpoons.rtlb",
    "in", "in.not", "subset", "subset.eq", "supset", "union", "inter", "emptyset", "forall", "exists", "not", "and", "or", "therefore", "because",
    "degree", "percent", "permille", "prime", "dots", "dots.h", "dots.c", "dots.v", "angle", "perp", "parallel", "bar.v", "colon", "colon.eq",
    "quad", "wide", "med", "thin", "thick",
    "NN", "ZZ", "QQ", "RR", "CC", "dif",
];

/// Operators written upright; they may be given any arguments, which are printed behind them.
pub(super) const OPERATORS: &[&str] = &[
    "sin", "cos", "tan", "cot", "sinh", "cosh", "tanh", "arcsin", "arccos", "arctan", "exp", "ln", "log", "lg", "lim",
    "max", "min", "sup", "inf", "det", "dim", "Pr", "arg", "mod", "gcd",
];

/// Functions: name, fewest and most arguments.
#[rustfmt::skip]
pub(super) const FUNCTIONS: &[(&str, usize, usize)] = &[
    ("frac", 2, 2), ("sqrt", 1, 1), ("root", 2, 2), ("binom", 2, 2), ("abs", 1, 1), ("norm", 1, 1), ("floor", 1, 1), ("ceil", 1, 1), ("round", 1, 1),
    ("overline", 1, 1), ("underline", 1, 1), ("hat", 1, 1), ("tilde", 1, 1), ("macron", 1, 1), ("acute", 1, 1), ("grave", 1, 1), ("breve", 1, 1), ("diaer", 1, 1),
    ("caron", 1, 1), ("arrow", 1, 1), ("overbrace", 1, 2), ("underbrace", 1, 2), ("overbracket", 1, 2), ("underbracket", 1, 2), ("cancel", 1, 1),
    ("upright", 1, 1), ("italic", 1, 1), ("bold", 1, 1), ("cal", 1, 1), ("bb", 1, 1), ("sans", 1, 1), ("frak", 1, 1), ("mono", 1, 1),
    ("vec", 1, 64), ("mat", 1, 256), ("cases", 1, 32), ("lr", 1, 1), ("limits", 1, 1), ("scripts", 1, 1), ("display", 1, 1), ("inline", 1, 1), ("op", 1, 1),
];

pub(super) fn is_symbol(name: &str) -> bool {
    SYMBOLS.contains(&name) || OPERATORS.contains(&name)
}

/// Fewest and most arguments behind this name; `None` where it takes none.
pub(super) fn arguments(name: &str) -> Option<(usize, usize)> {
    if OPERATORS.contains(&name) {
        return Some((1, 16));
    }
    // A symbol that happens to be an accent takes exactly one; behind any other the argument is printed.
    FUNCTIONS.iter().find(|f| f.0 == name).map(|f| (f.1, f.2)).or_else(|| SYMBOLS.contains(&name).then_some((1, 1)))
}

pub(super) fn takes_rows(name: &str) -> bool {
    name == "mat"
}
