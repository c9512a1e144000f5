-- Days on which an imported job has entries, at its address: the foreman's day
-- holds the jobs of all devices.
create table import_day (
    import_id integer not null references import (import_id),
    day       text not null check (length(day) = 10), -- 2026-11-25
    primary key (day, import_id)
) strict, without rowid;

create trigger import_day_is_never_updated before update on import_day
begin select raise(abort, 'an import is never changed'); end;
create trigger import_day_is_never_deleted before delete on import_day
begin select raise(abort, 'an import is never deleted'); end;

-- Of what was imported before this table was. An entry is a line of canonical JSON,
-- which has no other line break in it.
insert into import_day (import_id, day)
select distinct import_id, substr(value ->> 'at', 1, 10)
from import_file,
     json_each('[' || replace(rtrim(cast(body as text), char(10)), char(10), ',') || ']')
where import_file.path = 'entries.jsonl';
