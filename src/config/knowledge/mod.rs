pub mod chores;
