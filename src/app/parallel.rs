//! The same work on many things, on as many threads as there are processors; the answers do not depend on how many.

use std::num::NonZero;
use std::sync::{Mutex, PoisonError};

use crate::app::error::ServiceError;
use crate::domain::risk::judge::Parallel;

/// Applies `work` to every item and gives the results in the order of the items.
///
/// # Errors
/// The first error in that order.
pub fn on_threads<T: Send, R: Send>(
    items: Vec<T>,
    work: impl Fn(T) -> Result<R, ServiceError> + Sync,
) -> Result<Vec<R>, ServiceError> {
    let threads = std::thread::available_parallelism().map_or(1, NonZero::get).min(items.len());
    if threads <= 1 {
        return items.into_iter().map(work).collect();
    }
    // Each thread takes the next item when it has done one: places and boats differ much in cost.
    let left = Mutex::new(items.into_iter().enumerate());
    let next = || left.lock().unwrap_or_else(PoisonError::into_inner).next();
    let (work, next) = (&work, &next);
    let mut done: Vec<(usize, Result<R, ServiceError>)> = Vec::new();
    std::thread::scope(|scope| {
        let hand = move || {
            let mut results = Vec::new();
            while let Some((index, item)) = next() {
                results.push((index, work(item)));
            }
            results
        };
        let running: Vec<_> = (0..threads).map(|_| scope.spawn(hand)).collect();
        for thread in running {
            match thread.join() {
                Ok(results) => done.extend(results),
                Err(_) => done.push((0, Err(ServiceError::ThreadDied("a thread")))),
            }
        }
    });
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, result)| result).collect()
}

/// The processors of this machine, as the judge asks for them.
pub struct Threads;

impl Parallel for Threads {
    fn share<T: Send, R: Send>(
        &self,
        items: Vec<T>,
        work: impl Fn(T) -> R + Sync,
    ) -> Option<Vec<R>> {
        on_threads(items, |item| Ok(work(item))).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_come_in_the_order_of_the_items_and_the_first_error_counts() {
        let doubled = on_threads((0..100).collect(), |n: i32| Ok(n * 2)).unwrap();
        assert_eq!(doubled, (0..100).map(|n| n * 2).collect::<Vec<_>>());
        let fail =
            |n: i32| if n > 3 { Err(ServiceError::Outside(n.to_string().into())) } else { Ok(n) };
        assert_eq!(on_threads((0..9).collect(), fail).unwrap_err().to_string(), "4");
    }
}
