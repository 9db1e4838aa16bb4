-- A session on a tablet that many people use ends after ten idle minutes.
alter table session add column shared integer not null default 0 check (shared in (0, 1));
