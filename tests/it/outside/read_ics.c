/* Reads a calendar with libical, checks it against its own table of RFC 5545
   and RFC 5546, and prints the number of faults and one line an event. */
#include <libical/ical.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

int main(void) {
    size_t size = 0, room = 1 << 16;
    char *text = malloc(room);
    for (size_t got; (got = fread(text + size, 1, room - size - 1, stdin)) > 0;) {
        size += got;
        if (room - size < 2) text = realloc(text, room *= 2);
    }
    text[size] = 0;
    icalcomponent *calendar = icalparser_parse_string(text);
    if (!calendar) return 2;
    icalrestriction_check(calendar);
    printf("faults %d\n", icalcomponent_count_errors(calendar));
    icalcomponent *e = icalcomponent_get_first_component(calendar, ICAL_VEVENT_COMPONENT);
    for (; e; e = icalcomponent_get_next_component(calendar, ICAL_VEVENT_COMPONENT)) {
        struct icaltimetype at = icalcomponent_get_dtstart(e);
        at = icaltime_convert_to_zone(at, icaltimezone_get_utc_timezone());
        struct icaldurationtype lasts = icalcomponent_get_duration(e);
        printf("%s %s %d min, sequence %d, %s\n", icalcomponent_get_uid(e),
               icaltime_as_ical_string(at), icaldurationtype_as_int(lasts) / 60,
               icalcomponent_get_sequence(e),
               icalcomponent_get_status(e) == ICAL_STATUS_CANCELLED ? "cancelled" : "stands");
    }
    return 0;
}
