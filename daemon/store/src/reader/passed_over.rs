//! Rows that can't be understood are passed over and counted: one of them mustn't hide all others.

use std::cell::{Cell, RefCell};

use crate::error::StoreError;

/// What one reader has passed over so far.
#[derive(Debug, Default)]
pub struct PassedOver {
    count: Cell<u64>,
    first: RefCell<Option<String>>,
}

impl PassedOver {
    /// The row; `None`: it can't be understood, and is counted. What is wrong with the file itself stays an error.
    pub(super) fn row<T>(&self, read: Result<T, StoreError>) -> Result<Option<T>, StoreError> {
        match read {
            Ok(row) => Ok(Some(row)),
            Err(error) if error.is_of_one_row() => {
                self.count.set(self.count.get().saturating_add(1));
                self.first.borrow_mut().get_or_insert_with(|| error.to_string());
                Ok(None)
            }
            Err(error) => Err(error),
        }
    }

    /// How many rows.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.count.get()
    }

    /// What is wrong with the first of them.
    #[must_use]
    pub fn first(&self) -> Option<String> {
        self.first.borrow().clone()
    }
}
