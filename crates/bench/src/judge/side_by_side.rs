//! Circuits are judged one by one and know nothing of each other: two at a time on a machine with two cores.

use std::thread;

/// `f` of each item, in the order of the items, whichever thread came first. What `f` gives must depend on its item
/// alone, so that the answer is the same as one after the other.
pub(crate) fn each<T: Send, R: Send>(mut items: Vec<T>, f: impl Fn(T) -> R + Sync) -> Vec<R> {
    let second = items.split_off(items.len() / 2);
    if second.len() < 2 {
        return items.into_iter().chain(second).map(f).collect();
    }
    thread::scope(|scope| {
        let f = &f;
        let other = scope.spawn(move || second.into_iter().map(f).collect::<Vec<R>>());
        let mut done: Vec<R> = items.into_iter().map(f).collect();
        match other.join() {
            Ok(rest) => done.extend(rest),
            // The other thread was stopped by a fault of our own: so is this one, with the same words.
            Err(fault) => std::panic::resume_unwind(fault),
        }
        done
    })
}

#[cfg(test)]
mod tests {
    use super::each;

    #[test]
    fn order_is_that_of_the_items() {
        for count in [0_u32, 1, 2, 3, 24] {
            let doubled = each((0..count).collect(), |item| item * 2);
            assert_eq!(doubled, (0..count).map(|item| item * 2).collect::<Vec<_>>());
        }
    }
}
