-- The row of a student who was deleted may be given to somebody else later, whose name is taken out in turn: both stay in
-- the list of whom a restore takes out again.
create table taken_out (
    person integer not null,
    -- When the person was added, so that a row of another file is never taken for this one.
    created_at integer not null,
    forgotten_at integer not null,
    primary key (person, created_at)
) strict, without rowid;
insert into taken_out (person, created_at, forgotten_at) select person, created_at, forgotten_at from forgotten;
drop table forgotten;
alter table taken_out rename to forgotten;
