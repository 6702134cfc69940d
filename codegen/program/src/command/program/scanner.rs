//! Unit names from standard input: a scanner types what stands on a label, and ends it with a line feed.

use super::rounds::Job;
use super::{Program, STOP, ask, memory_of};
use crate::output::plain;
use pagewise_line::units::{self, Unit};

impl Program {
    /// The units whose names are typed, until the input ends. A name that is not to be had is told and asked for again.
    pub(super) fn scanned<'u>(&'u self, units: &'u [Unit]) -> impl Iterator<Item = Job> + 'u {
        std::iter::from_fn(move || {
            loop {
                let name = ask::scan(&STOP)?;
                match self.unit_called(&name, units) {
                    Ok(unit) => {
                        let memory = self.socket.memory.as_ref().map(|folder| memory_of(folder, &unit.name));
                        return Some(Job::new(unit, memory));
                    }
                    Err(reason) => anstream::eprintln!("{}", plain(&format!("{reason}: scan again"))),
                }
            }
        })
    }

    /// The unit of that name; where there is one image for all, any name will do.
    fn unit_called(&self, name: &str, units: &[Unit]) -> Result<Unit, String> {
        if !units::is_one_image(&self.image) {
            let known = units.iter().find(|unit| unit.name == name).cloned();
            return known.ok_or_else(|| format!("there is no unit `{name}`"));
        }
        units::check_name(name)?;
        let template = units.first().cloned().ok_or("there is no image")?;
        Ok(Unit { name: name.to_owned(), ..template })
    }
}
