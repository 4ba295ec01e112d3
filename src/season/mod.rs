//! WHAT THE WEATHER DID TO THE PLANTS: models, one formula family a file.
//!
//! In reading order; a blank line keeps the formatter from sorting them.

pub mod normal; // the normal distribution

pub mod screening; // what in a daily record cannot be true

pub mod degree_days; // heat above a threshold, by the method of its figure

pub mod sun; // declination, day length, sunrise, sunset

pub mod hourly_curve; // hours from daily extremes

pub mod chill; // winter chill in three units

pub mod heat; // growing degree hours

pub mod freeze_dates; // last and first freeze, hardiness zone

pub mod frost; // what a cold night kills
