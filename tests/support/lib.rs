//! Support for the tests.
