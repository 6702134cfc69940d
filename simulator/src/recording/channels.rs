//! Which channels carry a bus.

use std::string::{String, ToString};
use std::vec::Vec;

use crate::recording::bus::Bus;
use crate::recording::error::RecordingError;
use crate::recording::source::Chosen;
use crate::recording::{Recording, check};

/// What is left of a channel's name without `scl` or `sda`, in lower case.
fn without(name: &str, line: &str) -> Option<String> {
    let lower = name.to_ascii_lowercase();
    let at = lower.find(line)?;
    let rest = std::format!("{}{}", &lower[..at], &lower[at + line.len()..]);
    Some(rest.trim_matches(|c: char| "_-. /[]()".contains(c)).to_string())
}

fn is_supply(name: &str) -> bool {
    let lower = name.to_ascii_lowercase();
    ["vcc", "vdd", "supply", "power", "vsupply", "v_cc", "v_dd"].contains(&lower.as_str())
}

impl Recording {
    fn supply(&self) -> Option<usize> {
        self.channels.iter().position(|(name, _)| is_supply(name))
    }

    fn make(&self, name: String, scl: usize, sda: usize) -> Bus {
        let supply = self.supply();
        Bus {
            name,
            scl: self.channels[scl].0.clone(),
            sda: self.channels[sda].0.clone(),
            supply: supply.map(|channel| self.channels[channel].0.clone()),
            chosen: Chosen { scl, sda, supply },
        }
    }

    fn names(&self) -> Vec<String> {
        self.channels().map(str::to_string).collect()
    }

    /// The channel of this name, in capitals or not; else the one of this number, from 1.
    fn channel(&self, wanted: &str) -> Result<usize, RecordingError> {
        let digital = || self.channels.iter().enumerate().filter(|(_, (_, voltage))| !voltage);
        let exact = digital().find(|(_, (name, _))| name == wanted);
        let loose = || digital().find(|(_, (name, _))| name.eq_ignore_ascii_case(wanted));
        let numbered = || wanted.parse::<usize>().ok()?.checked_sub(1).and_then(|position| digital().nth(position));
        let found = exact.or_else(loose).or_else(numbered);
        found.map(|(channel, _)| channel).ok_or_else(|| RecordingError::NoSuchChannel {
            file: self.file.clone(),
            wanted: wanted.to_string(),
            channels: self.names(),
        })
    }

    /// The bus on two channels, each given by its name or by its number from 1.
    ///
    /// # Errors
    ///
    /// There is no such channel.
    pub fn bus(&self, scl: &str, sda: &str) -> Result<Bus, RecordingError> {
        Ok(self.make(String::new(), self.channel(scl)?, self.channel(sda)?))
    }

    /// Every bus whose channels are named SCL and SDA, alone or with the same words around (`SCL1` and `SDA1`). A file of
    /// two channels with other names is looked into.
    ///
    /// # Errors
    ///
    /// No channels are named so; the error says which ones look like it.
    pub fn buses(&self) -> Result<Vec<Bus>, RecordingError> {
        let digital: Vec<(usize, &str)> = self
            .channels
            .iter()
            .enumerate()
            .filter(|(_, (_, voltage))| !voltage)
            .map(|(channel, (name, _))| (channel, name.as_str()))
            .collect();
        let mut buses = Vec::new();
        for (scl, name) in &digital {
            let Some(rest) = without(name, "scl") else { continue };
            let partner = digital.iter().find(|(_, other)| without(other, "sda").as_ref() == Some(&rest));
            if let Some((sda, _)) = partner {
                buses.push(self.make(rest, *scl, *sda));
            }
        }
        if !buses.is_empty() {
            return Ok(buses);
        }
        let looks_like = check::find_pair(self, digital.iter().map(|(channel, _)| *channel));
        if let (Some((scl, sda)), 2) = (looks_like, digital.len()) {
            return Ok(Vec::from([self.make(String::new(), scl, sda)]));
        }
        let name = |channel: usize| self.channels[channel].0.clone();
        Err(RecordingError::NoBus {
            file: self.file.clone(),
            channels: self.names(),
            looks_like: looks_like.map(|(scl, sda)| (name(scl), name(sda))),
        })
    }
}
