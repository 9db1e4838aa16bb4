-- A report on another plate of the exercise than the pair was given. The report's own row names the plate that was measured.
create table other_plate (
    report integer primary key references report (id) on delete cascade,
    -- The plate that the pair had.
    given integer not null references plate (id),
    -- What the instructor said: it counts, or it does not and the pair has the attempt once more. None: still open.
    settled text check (settled in ('counts', 'not')),
    settled_at integer,
    settled_by integer references person (id) on delete set null,
    constraint other_plate_settled_whole check ((settled is null) = (settled_at is null))
) strict;
