-- Leak calls, to find the open ones without reading the whole log. Derived from
-- entries, in the same transaction; what stands of a call is in the entries.
create table callback (
    job        text not null,     -- the job's number
    id         integer not null,  -- which call of the job, counted from 1
    opened_seq integer not null,  -- the entry that opened it
    closed_seq integer,           -- the entry that closed it; none while it is open
    primary key (job, id)
) strict, without rowid;
create index callback_open on callback (job) where closed_seq is null;
