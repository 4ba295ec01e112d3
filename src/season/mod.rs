//! WHAT THE WEATHER DID TO THE PLANTS: models, one formula family a file.
//!
//! In reading order; a blank line keeps the formatter from sorting them.

pub mod degree_days; // heat above a threshold, by the method of its figure

pub mod sun; // declination, day length, sunrise, sunset

pub mod hourly_curve; // hours from daily extremes

pub mod chill; // winter chill in three units

pub mod candidates; // when each of many simple bloom rules would have been met

pub mod bloom; // the weights of those rules for one cultivar

pub mod ensemble; // past springs as the coming weather, and windows from them

pub mod stages; // all stages of a crop in one season

pub mod hindcast; // the forecasts of past springs held against what was seen
