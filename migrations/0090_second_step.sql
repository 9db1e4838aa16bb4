-- A second step at sign-in for staff: codes by the clock (RFC 6238).
create table second_step (
    person integer primary key references person (id) on delete cascade,
    -- What code and app share, sealed with a key that lies outside of the database.
    sealed blob not null,
    begun_at integer not null,
    -- None until the first code was right; nothing is asked for before.
    confirmed_at integer,
    -- The newest step of the clock whose code was taken; none is taken twice.
    last_step integer not null default 0
) strict;

-- Codes for the day on which the app is not there: SHA-256 of 80 random bits each, used once.
create table recovery_code (
    id integer primary key,
    person integer not null references person (id) on delete cascade,
    code_hash blob not null check (length(code_hash) = 32),
    used_at integer,
    unique (person, code_hash)
) strict;

-- Between passphrase and code. It opens nothing.
create table half_sign_in (
    token_hash blob primary key check (length(token_hash) = 32),
    person integer not null references person (id) on delete cascade,
    expires_at integer not null
) strict;
create index half_sign_in_by_person on half_sign_in (person);
