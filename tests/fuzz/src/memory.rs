//! How much memory a call takes. Counted only under the fuzzer.

#[cfg(feature = "fuzzer")]
mod counting {
    use std::alloc::{GlobalAlloc, Layout, System};
    use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

    pub struct Counting;
    pub static NOW: AtomicUsize = AtomicUsize::new(0);
    pub static PEAK: AtomicUsize = AtomicUsize::new(0);

    fn more(bytes: usize) {
        PEAK.fetch_max(NOW.fetch_add(bytes, Relaxed) + bytes, Relaxed);
    }

    // SAFETY: every call goes to the system's allocator unchanged; only sizes are counted.
    unsafe impl GlobalAlloc for Counting {
        unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
            more(layout.size());
            unsafe { System.alloc(layout) }
        }
        unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
            NOW.fetch_sub(layout.size(), Relaxed);
            unsafe { System.dealloc(at, layout) }
        }
        unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
            more(size);
            NOW.fetch_sub(layout.size(), Relaxed);
            unsafe { System.realloc(at, layout, size) }
        }
    }

    #[global_allocator]
    static ALLOCATOR: Counting = Counting;
}

/// Runs something; says how many bytes more than before were allocated at the most.
#[cfg(feature = "fuzzer")]
pub(crate) fn peak<T>(run: impl FnOnce() -> T) -> (T, usize) {
    use counting::{NOW, PEAK};
    use std::sync::atomic::Ordering::Relaxed;
    let before = NOW.load(Relaxed);
    PEAK.store(before, Relaxed);
    let out = run();
    (out, PEAK.load(Relaxed).saturating_sub(before))
}

/// Runs something.
#[cfg(not(feature = "fuzzer"))]
pub(crate) fn peak<T>(run: impl FnOnce() -> T) -> (T, usize) {
    (run(), 0)
}
