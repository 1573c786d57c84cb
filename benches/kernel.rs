//! Our kernel beside a stock Rust kernel: sessions interleaved in one run, ratios of their medians.
//!
//! `cargo bench --bench kernel` needs `vialbook kernel set-up`, and a stock kernel to compare with:
//! `cargo install --locked evcxr_jupyter --version 0.22.0 --root target/stock` (or `STOCK_KERNEL=PATH`). The stock kernel
//! compiles cells at its own opt-level 2 and has no library at all; ours has the whole of it.
#![allow(clippy::print_stdout, clippy::unwrap_used)] // a bench prints, and stops where it cannot go on

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

/// What both kernels can do.
const PLAIN: &[&str] = &[
    "let x = 1.5;",
    "let v = vec![1.0, 2.0, 3.0];",
    "v.iter().sum::<f64>()",
    "fn square(a: f64) -> f64 { a * a }",
    "square(x) + 1.0",
    "let words: Vec<String> = v.iter().map(|a| format!(\"{a:.2}\")).collect();",
    "words.join(\" \")",
    "println!(\"{}\", square(v[1]));",
];

/// What only ours can do: studies, displays, frames.
const WITH_LIBRARY: &[&str] = &[
    "let study = Study::demo(\"demo\")?;",
    "study",
    "let run = study.run(\"level-3-1\")?;",
    "let peaks = run.find_peaks(&Detect::default())?;",
    "peaks",
    "run.plot()",
    "let frame = peaks.to_frame()?;",
    "frame.select(&[\"retention_time_min\", \"area\"])?",
    "frame.column(\"area\")?.len()",
    "let analysis = study.analyse()?;",
    "analysis.calibration(\"2-propanol\")?",
    "analysis.amount(\"recovered eluent\", \"2-propanol\")?",
];

fn main() {
    // `cargo test` also starts benches, to see that they run: nothing to do then.
    if !std::env::args().any(|a| a == "--bench") {
        return;
    }
    let home = PathBuf::from(std::env::var_os("HOME").unwrap());
    let data = std::env::var_os("JUPYTER_DATA_DIR").map_or(home.join(".local/share/jupyter"), PathBuf::from);
    let Ok(ours) = std::fs::read_to_string(data.join("kernels/vialbook/kernel.json")) else {
        println!("no kernel to measure: run `vialbook kernel set-up` first");
        return;
    };
    let ours: Value = serde_json::from_str(&ours).unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let stock = std::env::var_os("STOCK_KERNEL").map_or(root.join("target/stock/bin/evcxr_jupyter"), PathBuf::from);
    if !stock.is_file() {
        println!("no stock kernel to compare with: see the head of benches/kernel.rs");
        return;
    }
    let place = tempfile::tempdir().unwrap();
    register(&place.path().join("kernels/stock"), &stock, &ours["env"]);
    let rounds = std::env::var("ROUNDS").ok().and_then(|r| r.parse().ok()).unwrap_or(5_u32);
    let task = json!([
        {"kernel": "stock", "cells": PLAIN},
        {"kernel": "vialbook", "cells": PLAIN.iter().chain(WITH_LIBRARY).collect::<Vec<_>>()},
    ]);
    let list = place.path().join("cells.json");
    std::fs::write(&list, task.to_string()).unwrap();
    let python = ours["env"]["VIALBOOK_PYTHON"].as_str().unwrap();
    let status = Command::new(python)
        .arg(root.join("benches/peer/kernel_cells.py"))
        .arg(&list)
        .arg(rounds.to_string())
        // Jupyter looks here as well; evcxr would keep its own kernelspec up to date only in the user's folder.
        .env("JUPYTER_PATH", place.path())
        .current_dir(place.path())
        .status()
        .unwrap();
    assert!(status.success());
}

/// A stock kernel under a name of its own, with the same compiler and library source as ours.
fn register(folder: &Path, program: &Path, ours: &Value) {
    std::fs::create_dir_all(folder).unwrap();
    let mut environment = json!({});
    for name in ["RUSTUP_TOOLCHAIN", "RUST_SRC_PATH"] {
        if let Some(value) = ours[name].as_str() {
            environment[name] = json!(value);
        }
    }
    let specification = json!({
        "argv": [program, "--control_file", "{connection_file}"],
        "display_name": "stock", "language": "rust", "interrupt_mode": "message", "env": environment,
    });
    std::fs::write(folder.join("kernel.json"), specification.to_string()).unwrap();
}
