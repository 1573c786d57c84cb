//! Time and memory that an input may cost: 1 s per 100 kB, 20 times its size, and a floor for what every call needs.
use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

/// Counts what is held; the system does the work.
struct Counting;

static HELD: AtomicUsize = AtomicUsize::new(0);
static MOST: AtomicUsize = AtomicUsize::new(0);

// SAFETY: every call goes to the system's allocator unchanged; the counters are atomic.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let held = HELD.fetch_add(layout.size(), Relaxed) + layout.size();
        MOST.fetch_max(held, Relaxed);
        unsafe { System.alloc(layout) }
    }
    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        HELD.fetch_sub(layout.size(), Relaxed);
        unsafe { System.dealloc(at, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// Floor of memory: a workbook's reader and the decompressor take this much for the smallest file.
const FLOOR: usize = 2 << 20;
/// Times slower that instrumented code is than a release build; measured on the corpus.
const SLOWER: f64 = 5.0;

/// Runs `work` and stops where it took more than an input of `size` bytes may cost.
pub fn within(size: usize, work: impl FnOnce()) {
    let before = HELD.load(Relaxed);
    MOST.store(before, Relaxed);
    let start = processor_s();
    work();
    let seconds = processor_s() - start;
    let most = MOST.load(Relaxed).saturating_sub(before);
    assert!(most <= 20 * size + FLOOR, "{most} bytes for {} bytes of input", size);
    let allowed = SLOWER * (size as f64 / 1e5).max(1.0);
    assert!(seconds <= allowed, "{seconds} s for {} bytes of input", size);
}

/// Seconds of the processor that this thread has had: a busy machine is no fault of the reader.
fn processor_s() -> f64 {
    let mut time = libc::timespec { tv_sec: 0, tv_nsec: 0 };
    // SAFETY: the call writes the struct it is given.
    unsafe { libc::clock_gettime(libc::CLOCK_THREAD_CPUTIME_ID, &mut time) };
    time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9
}
