-- Keys with which programs act as a person over HTTP. That one was made or ended
-- is in the log (key-made, key-ended); the key itself never enters an entry.
create table program_key (
    program_key_id integer primary key,
    key_sha256     text not null unique check (length(key_sha256) = 64), -- never the key
    person_id      integer not null references person (person_id),       -- as whom
    called         text not null check (length(called) > 0),             -- by the office
    since_ms       integer not null, -- milliseconds since 1970-01-01T00:00:00Z
    seen_ms        integer,          -- when it was last used, to the minute; none before
    ended_ms       integer           -- since when it holds no more
) strict;
create index program_key_by_person on program_key (person_id);
