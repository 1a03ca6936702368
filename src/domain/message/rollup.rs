//! One letter for many boats: what a manager is told in one round, grouped by place, with minutes.
