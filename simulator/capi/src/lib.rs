//! C ABI of the simulator.
