//! A preload library: unmodified Linux programs talk to simulated serial I2C EEPROMs.
