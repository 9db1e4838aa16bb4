//! All tests that go through the public interface, in one binary.

mod architecture;
