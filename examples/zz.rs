use vialbook::table::{Column, Table};
fn main() {
    let t = Table::new("Standards")
        .column(Column::text("flask", ["a", "b", "c"]))
        .column(Column::numbers("content", "mg/L", [0.5, 10.0, 2.5]))
        .measured("area", "mV·min", [Some(1.2345), Some(24.61), None], [Some(0.021), Some(0.35), None]);
    print!("{t}{}", t.to_html());
    let t = Table::new("")
        .column(Column::numbers("x", "mg/L", (0..100).map(|i| 1e5 * (i as f64).powi(3) + 0.1)))
        .column(Column::text("name", (0..100).map(|i| format!("$n{i}\n<b>"))))
        .show_rows(7);
    print!("{t}");
}
