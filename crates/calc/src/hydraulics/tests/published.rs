//! Published examples.
