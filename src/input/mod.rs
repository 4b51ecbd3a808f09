//! Files a person writes.
