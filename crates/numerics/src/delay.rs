//! Ring buffer of the last samples: a delay line.

/// Ring buffer of the last `N` values, newest first.
///
/// ```
/// use trimwright_numerics::Ring;
/// let mut ring = Ring::<_, 3>::filled(0);
/// for value in 1..=5 { ring.push(value); }
/// assert_eq!([ring.back(0), ring.back(1), ring.back(2)], [Some(&5), Some(&4), Some(&3)]);
/// assert_eq!(ring.back(3), None);
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ring<T, const N: usize> {
    values: [T; N],
    newest: usize,
}

impl<T: Copy, const N: usize> Ring<T, N> {
    /// A ring buffer with `value` in every element.
    pub const fn filled(value: T) -> Self {
        Self { values: [value; N], newest: 0 }
    }

    /// Adds a value in place of the oldest.
    #[inline]
    pub fn push(&mut self, value: T) {
        self.newest = if self.newest + 1 < N { self.newest + 1 } else { 0 };
        if let Some(slot) = self.values.get_mut(self.newest) {
            *slot = value;
        }
    }

    /// The value `ago` samples before the newest (0: the newest); `None` from `N` on.
    #[inline]
    pub fn back(&self, ago: usize) -> Option<&T> {
        if ago >= N {
            return None;
        }
        let index = if self.newest >= ago { self.newest - ago } else { self.newest + N - ago };
        self.values.get(index)
    }

    /// All values, newest first.
    pub fn iter(&self) -> impl Iterator<Item = &T> + '_ {
        let (back_to_first, wrapped) =
            self.values.split_at_checked(self.newest + 1).unwrap_or((&self.values, &[]));
        back_to_first.iter().rev().chain(wrapped.iter().rev())
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::collections::VecDeque;

    proptest! {
        #[test]
        fn a_ring_agrees_with_a_queue(values in proptest::collection::vec(any::<u8>(), 0..40)) {
            let mut ring = Ring::<u8, 7>::filled(0);
            let mut queue = VecDeque::from([0_u8; 7]);
            for value in values {
                ring.push(value);
                queue.push_front(value);
                queue.pop_back();
                prop_assert!(ring.iter().eq(queue.iter()));
            }
        }
    }
}
