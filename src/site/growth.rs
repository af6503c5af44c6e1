//! How the work grows, and what is going to be changed when.

use crate::unit::Date;

/// Growth of the work.
#[derive(Clone, Debug, PartialEq)]
pub struct Growth {
    /// The day of which the scenario states the load.
    pub from: Date,
    /// Growth in a year, by workload in scenario order: 0.25 for a quarter more. At least one is above 0.
    pub per_year: Vec<f64>,
}

/// A change that is planned.
#[derive(Clone, Debug)]
pub struct Step {
    /// Name for people.
    pub name: String,
    /// The day from which it is there.
    pub date: Date,
    /// `key = value` pairs that this step sets; those of earlier steps hold too.
    pub set: Vec<(String, String)>,
    /// The site with this and all earlier steps.
    pub site: Box<super::Site>,
}
