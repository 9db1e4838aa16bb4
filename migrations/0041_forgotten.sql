-- Whose names were taken out: a restored backup has them taken out again.
create table forgotten (
    person integer primary key,
    -- When the person was added, so that a row of another file is never taken for this one.
    created_at integer not null,
    forgotten_at integer not null
) strict;
