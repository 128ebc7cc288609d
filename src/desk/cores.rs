//! Work that is reckoning alone, shared out among the machine's cores.

/// Shares a list out, as much to each core; where one cut falls does not matter.
pub fn on_every_core<T: Send>(all: &mut [T], work: impl Fn(&mut [T]) + Sync) {
    let share = all.len().div_ceil(cores()).max(1);
    std::thread::scope(|scope| {
        let mut shares = all.chunks_mut(share);
        let own = shares.next();
        for share in shares {
            scope.spawn(|| work(share));
        }
        own.into_iter().for_each(&work);
    });
}

/// How many of them there are.
pub fn cores() -> usize {
    std::thread::available_parallelism().map_or(1, usize::from)
}
