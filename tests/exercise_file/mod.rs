//! Exercise and plates files: what is read, what is refused and in which words, what is written back.

mod shelf;
