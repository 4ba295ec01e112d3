//! WHAT THE WEATHER DID TO THE PLANTS: models, one formula family a file.

pub mod evidence;
pub mod spread;
