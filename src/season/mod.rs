//! WHAT THE WEATHER DID TO THE PLANTS: models, one formula family a file.
//!
//! In reading order; a blank line keeps the formatter from sorting them.

pub mod spread; // a date is a distribution

pub mod evidence; // why a date is what it is

pub mod normal; // the normal distribution

pub mod screening; // what in a daily record cannot be true

pub mod degree_days; // heat above a threshold, by the method of its figure

pub mod sun; // declination, day length, sunrise, sunset

pub mod hourly_curve; // hours from daily extremes

pub mod chill; // winter chill in three units

pub mod heat; // growing degree hours

pub mod freeze_dates; // last and first freeze, hardiness zone

pub mod frost; // what a cold night kills

pub mod wetness; // wet hours and wet periods

pub mod infection; // whether a wet period infects

pub mod infections; // the infection periods of a season

pub mod insects; // events by degree days

pub mod soil; // how warm, how wet, workable

pub mod cover; // what is left of a protectant

pub mod members; // the coming weather as an ensemble of past years

pub mod turning; // freezes, soil, leaf fall, heat sums

pub mod zone_only; // the year where no weather is known

pub mod frost_nights; // a night against the buds

pub mod frost_toll; // what all frosts of a spring come to

pub mod groups; // trees that bloom together

mod derive; // the season of a place on one day

pub use derive::outlook::{Alarm, CropOutlook, NightOutlook, site_offset};
pub use derive::{Caveat, Event, Season, derive};
pub use groups::Group;

pub mod tally; // what the season did to one tree

pub mod season_days; // the days of one season and their heat

pub mod candidates; // when each of many simple bloom rules would have been met

pub mod usual; // the usual date of full bloom

pub mod warned; // by the weather service

pub mod bloom; // the weights of those rules for one cultivar

pub mod mixture; // weighted dates, dressed

pub mod climate; // what all crops share of a place's weather

pub mod ensemble; // past springs as the coming weather, and windows from them

pub mod reports; // which reports can be, and what they teach

pub mod stages; // all stages of a crop in one season

pub mod hindcast; // the forecasts of past springs held against what was seen

pub mod years; // what the years of a record gave to a crop
