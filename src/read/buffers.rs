//! Buffers that a thread keeps between files: fresh memory for every file costs as much as parsing it.

use std::cell::RefCell;

/// Columns above this stay with the system: 4 million numbers, 32 MB.
const LARGEST: usize = 1 << 22;
/// Columns kept per thread.
const KEPT: usize = 4;

thread_local! {
    static COLUMNS: RefCell<Vec<Vec<f64>>> = const { RefCell::new(Vec::new()) };
    static BYTES: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
}

/// An empty column with room for `rows`.
pub(super) fn column(rows: usize) -> Vec<f64> {
    let mut values = COLUMNS.with_borrow_mut(Vec::pop).unwrap_or_default();
    values.clear();
    values.reserve(rows);
    values
}

/// Gives a column back.
pub(super) fn give_column(values: Vec<f64>) {
    if (1..=LARGEST).contains(&values.capacity()) {
        COLUMNS.with_borrow_mut(|kept| {
            if kept.len() < KEPT {
                kept.push(values);
            }
        });
    }
}

/// An empty byte buffer with room for `bytes`.
pub(super) fn bytes(bytes: usize) -> Vec<u8> {
    let mut buffer = BYTES.take();
    buffer.clear();
    buffer.reserve(bytes);
    buffer
}

/// Gives a byte buffer back.
pub(super) fn give_bytes(buffer: Vec<u8>) {
    if buffer.capacity() <= LARGEST * 4 {
        BYTES.set(buffer);
    }
}
