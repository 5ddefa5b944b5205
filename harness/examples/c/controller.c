/* An example battery charge controller that speaks the line protocol: one JSON object a line comes in on
 * standard input, one goes out on standard output. It follows every charge control rule of the project and
 * needs only the C library. It is made to be read and to be tried on a test bench, not to charge a battery.
 * One step: (1) validity and continuity, (2) counting, then the empty rule, (3) protection: trips, then
 * release, (4) a discontinuity or else the rules of the stage, (5) the outputs. Counting comes before what
 * decides by its result; protection comes before the stages because it may forbid what they would do.
 * A limit that is none and a reading that is absent are both NAN. Every comparison with NAN is false, so each
 * one below is written in the direction in which false is what the rules ask for. */
#define _POSIX_C_SOURCE 200809L
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define SLACK_S 1e-9 /* times that are meant to be equal differ in their last digits */

/* These lists both make the structure and read it, so that no name can be forgotten in either. */
#define REQUIRED(X) X(cells) X(capacity_ah) X(absorption_v) X(entry_v) X(entry_dwell_s) X(hold_s) X(full_v) \
    X(confirm_s) X(wait_limit_s) X(float_v) X(return_v) X(return_dwell_s) X(charge_current_a) \
    X(charge_efficiency) X(soc_ceiling) X(empty_dwell_s) X(cell_release_v) X(temp_band_c) X(trip_dwell_s) \
    X(release_dwell_s) X(max_gap_s) X(compensation_v_per_c) X(reference_c) X(equalisation_s) \
    X(equalisation_loss_s) X(equalisation_retry_s)
#define MAY_BE_NONE(X) X(sag_v) X(taper_a) X(float_s) X(return_soc) X(empty_v) X(cell_limit_v) \
    X(charge_min_c) X(charge_max_c) X(compensation_min_c) X(compensation_max_c) X(sensor_lost_s) \
    X(sensor_frozen_s) X(sensor_jump_c) X(equalisation_v) X(equalisation_every_s) X(equalisation_max_c)
#define FIELD(name) double name;

/* One program serves one pack, so the settings, the sample at hand and the state are plain variables. */
static struct {
    REQUIRED(FIELD) MAY_BE_NONE(FIELD)
    double lowest_v, highest_v, lowest_a, highest_a;
    bool sag_pauses, sag_restarts, unconfirmed_waits, unconfirmed_to_bulk;
} set;

static union { struct { double t, v, i, cell_max_v, temp_c, temp_max_c; }; double at[6]; } in;
static const char *const READINGS[6] = {"t", "v", "i", "cell_max_v", "temp_c", "temp_max_c"};

enum { NO_READING = 1, CELL_VOLTAGE = 2, TEMPERATURE = 4 };
typedef enum { BULK, ABSORPTION, FLOAT, INHIBITED, EQUALISATION } Stage;
static const char *const STAGE_NAMES[] = {"bulk", "absorption", "float", "inhibited", "equalisation"};

static const char HELLO[] = "\"protocol\":1,\"name\":\"example-c\",\"version\":\"1.0\",\"language\":\"C\","
    "\"features\":[\"soc\",\"full_reset\",\"requests\",\"float_timer\",\"return_voltage\",\"return_soc\","
    "\"sag_pause\",\"sag_restart\",\"confirm\",\"taper\",\"wait\",\"empty_reset\",\"cell_protection\","
    "\"temperature_protection\",\"compensation\",\"power_cycle\",\"equalisation\","
    "\"compensation_limits\",\"sensor_checks\"]";

static struct State {
    Stage stage;
    unsigned tripped;                         /* every cause that keeps charging inhibited */
    bool full_reset, emptied, sagged;         /* sagged: the last valid sample was below sag_v */
    bool requested;                           /* an equalisation, and none has been completed since */
    double soc, last_t, last_a, shift_v;      /* last: of valid samples; NAN before the first */
    double temp_c, temp_read, temp_changed;   /* the temperature that is believed, and since when */
    double heard_t;                           /* the last valid sample, or else the first of any kind */
    double stage_since, cell_since, temp_since, empty_since; /* where each dwell began; NAN while false */
    double hold_since, confirm_since, float_since;           /* confirm_since is NAN before that phase */
    double equalise_since, warm_since, idle_since, schedule_since, not_before;
} now;

static double shifted(double v) { return v + now.shift_v; }

/* A sensor that is lost, or frozen, may lower the voltages and never raise them. */
static void sense(void) {
    if (!isnan(in.temp_c) && !(fabs(in.temp_c - now.temp_c) > set.sensor_jump_c)) {
        if (in.temp_c != now.temp_c) now.temp_changed = in.t;
        now.temp_c = in.temp_c;
        now.temp_read = in.t;
    }
    if (isnan(now.temp_c)) return;
    double counts_c = fmin(fmax(now.temp_c, set.compensation_min_c), set.compensation_max_c);
    bool lost = in.t - now.temp_read >= set.sensor_lost_s - SLACK_S;
    bool frozen = in.t - now.temp_changed >= set.sensor_frozen_s - SLACK_S;
    now.shift_v = set.compensation_v_per_c * (counts_c - set.reference_c);
    if (lost || frozen) now.shift_v = fmin(now.shift_v, 0);
}

static bool sustained(double *since, bool condition, double dwell_s) {
    if (!condition) *since = NAN;
    else if (isnan(*since)) *since = in.t;
    return in.t - *since >= dwell_s - SLACK_S;
}

/* Every stage waits for one condition, so one dwell, begun anew with each stage or phase, serves them all. */
static bool stage_sustained(double dwell_s) {
    bool cell = in.cell_max_v <= set.cell_release_v || !(now.tripped & CELL_VOLTAGE);
    bool warm = in.temp_c >= set.charge_min_c + set.temp_band_c || isnan(set.charge_min_c);
    bool cool = in.temp_max_c <= set.charge_max_c - set.temp_band_c || isnan(set.charge_max_c);
    bool condition = cell && ((warm && cool) || !(now.tripped & TEMPERATURE));
    if (now.stage == BULK) condition = in.v >= shifted(set.entry_v);
    if (now.stage == ABSORPTION) condition = in.v >= shifted(set.full_v) && !(fabs(in.i) > set.taper_a);
    if (now.stage == FLOAT) condition = in.v < shifted(set.return_v);
    return sustained(&now.stage_since, condition, dwell_s);
}

static void enter(Stage stage) {
    now.stage = stage;
    now.tripped = 0;
    now.hold_since = now.float_since = now.equalise_since = in.t;
    now.confirm_since = now.stage_since = now.warm_since = now.idle_since = NAN;
    stage_sustained(0); /* only one change a sample, but the dwell of the new stage counts this one already */
}

static void put_off(void) { now.not_before = in.t + set.equalisation_retry_s - SLACK_S; }

static void trip(unsigned cause) {
    if (now.stage == EQUALISATION) put_off();
    now.stage = INHIBITED;
    now.tripped |= cause;
    now.stage_since = NAN; /* a cause that trips is not clear: no sample both trips and releases */
}

static void count(double from_a, double to_a, double dt) {
    double mean_a = (from_a + to_a) / 2, high_a = fmax(from_a, to_a), charging_a = fmax(mean_a, 0);
    if (from_a * to_a < 0) charging_a = high_a * high_a / fabs(to_a - from_a) / 2; /* a triangle */
    double counted_as = (set.charge_efficiency * charging_a + mean_a - charging_a) * dt;
    double soc = now.soc + counted_as / (3600 * set.capacity_ah);
    now.soc = soc > now.soc ? fmin(soc, fmax(now.soc, set.soc_ceiling)) : fmax(soc, 0);
}

static void absorb(double dt) {
    if (isnan(now.confirm_since)) {
        if (set.sag_pauses && now.sagged) now.hold_since += dt;
        if (set.sag_restarts && (now.sagged || in.v < shifted(set.sag_v))) now.hold_since = in.t;
        if (in.t - now.hold_since < set.hold_s - SLACK_S) return;
        now.confirm_since = in.t;
        now.stage_since = NAN;
    }
    now.full_reset = stage_sustained(set.confirm_s);
    bool waited = in.t - now.confirm_since >= set.wait_limit_s - SLACK_S;
    bool denied = set.unconfirmed_waits ? waited : isnan(now.stage_since); /* false, not too young */
    if (now.full_reset) now.soc = 1;
    if (now.full_reset) enter(FLOAT);
    else if (denied) enter(set.unconfirmed_to_bulk ? BULK : FLOAT);
}

static bool cool(void) { return isnan(set.equalisation_max_c) || in.temp_max_c <= set.equalisation_max_c; }

static bool equalisation_is_due(void) {
    bool scheduled = in.t - now.schedule_since >= set.equalisation_every_s - SLACK_S;
    return !isnan(set.equalisation_v) && (now.requested || scheduled) && !(in.t < now.not_before) &&
           in.i > 0 && cool();
}

static void equalise(bool continuous) {
    bool warm = sustained(&now.warm_since, !cool(), set.trip_dwell_s);
    bool idle = sustained(&now.idle_since, !(in.i > 0), set.equalisation_loss_s);
    bool over = in.t - now.equalise_since >= set.equalisation_s - SLACK_S;
    if (!continuous || warm || idle) put_off(); /* it stays due */
    else if (over) now.requested = false, now.not_before = NAN, now.schedule_since = in.t;
    else return;
    enter(FLOAT);
}

static void step(void) {
    double dt = in.t - now.last_t;
    now.full_reset = false;
    if (isnan(in.t)) return; /* without its time a sample cannot tell how long the silence has been */
    if (isnan(now.heard_t)) now.heard_t = in.t;
    if (!(in.v >= set.lowest_v && in.v <= set.highest_v && in.i >= set.lowest_a && in.i <= set.highest_a)) {
        if (in.t - now.heard_t > set.max_gap_s + SLACK_S) trip(NO_READING);
        return;
    }
    bool continuous = dt >= -SLACK_S && dt <= set.max_gap_s + SLACK_S;
    if (!continuous) now.stage_since = now.cell_since = now.temp_since = now.empty_since = NAN;
    if (isnan(now.schedule_since)) now.schedule_since = in.t;
    if (dt < -SLACK_S) { /* what has elapsed stays what it was */
        now.temp_read += dt, now.temp_changed += dt;
        now.schedule_since += dt, now.not_before += dt;
    }
    sense();

    if (continuous) count(now.last_a, in.i, fmax(dt, 0));
    bool low = in.v <= set.empty_v, empty = sustained(&now.empty_since, low, set.empty_dwell_s);
    if (empty && !now.emptied) now.soc = 0;
    now.emptied = empty || (low && now.emptied);

    bool outside = in.temp_c < set.charge_min_c || in.temp_max_c > set.charge_max_c;
    if (sustained(&now.cell_since, in.cell_max_v >= set.cell_limit_v, set.trip_dwell_s)) trip(CELL_VOLTAGE);
    if (sustained(&now.temp_since, outside, set.trip_dwell_s)) trip(TEMPERATURE);

    if (dt < -SLACK_S) now.float_since = in.t;
    if (now.stage == INHIBITED && stage_sustained(set.release_dwell_s)) enter(BULK);
    else if (now.stage == BULK && stage_sustained(set.entry_dwell_s)) enter(ABSORPTION);
    else if (now.stage == ABSORPTION && !continuous) enter(BULK); /* a hold that nobody saw proves nothing */
    else if (now.stage == ABSORPTION) absorb(dt);
    else if (now.stage == EQUALISATION) equalise(continuous);
    else if (now.stage == FLOAT && (stage_sustained(set.return_dwell_s) || now.soc < set.return_soc ||
                                    in.t - now.float_since >= set.float_s - SLACK_S)) enter(BULK);
    else if (now.stage == FLOAT && equalisation_is_due()) enter(EQUALISATION);
    now.sagged = in.v < shifted(set.sag_v);
    now.heard_t = now.last_t = in.t;
    now.last_a = in.i;
}

static void power_up(double stored_soc) {
    now = (struct State){.soc = stored_soc, .last_t = NAN, .temp_c = NAN, .heard_t = NAN,
                         .stage_since = NAN, .cell_since = NAN, .temp_since = NAN, .empty_since = NAN,
                         .schedule_since = NAN, .not_before = NAN};
}

/* Just enough JSON to find members and to walk lists. Member names are compared as they are written. */
static const char *skip(const char *p) { /* to what follows a value; NULL if the line ends inside the value */
    int depth = 0, quoted = 0;
    for (; p && *p; p++) {
        if (*p == '\\' && p[1]) p++;
        else if (*p == '"') quoted = !quoted;
        else if (!quoted && (*p == '[' || *p == '{')) depth++;
        else if (!quoted && depth == 0 && strchr(",:]}", *p)) return p;
        else if (!quoted && (*p == ']' || *p == '}')) depth--;
    }
    return quoted || depth ? NULL : p;
}

static const char *element(const char *p) { /* the one that a bracket, comma or colon leads to, or NULL */
    if (!p || !*p || !strchr("[{,:", *p)) return NULL;
    p += 1 + strspn(p + 1, " \t");
    return *p == ']' || *p == '}' ? NULL : p;
}
static const char *next(const char *value) { return element(skip(value)); }

static bool is(const char *p, const char *word) {
    return p && *p == '"' && !strncmp(p + 1, word, strlen(word)) && p[1 + strlen(word)] == '"';
}

static const char *find(const char *object, const char *name) {
    const char *key = element(object), *value = next(key);
    for (; key && !is(key, name); value = next(key)) key = next(value);
    return value;
}

static double number(const char *p) {
    double x = p && (*p == '-' || (*p >= '0' && *p <= '9')) ? strtod(p, NULL) : NAN;
    return isfinite(x) ? x : NAN;
}

static double asked_v(void) {
    if (now.stage == EQUALISATION) return shifted(set.equalisation_v);
    return shifted(now.stage == BULK || now.stage == ABSORPTION ? set.absorption_v : set.float_v);
}

static const char *start(const char *message) { /* the name of what is missing, or NULL */
    const char *settings = find(message, "settings"), *sag = find(settings, "on_sag"),
               *v = element(find(settings, "plausible_v")), *i = element(find(settings, "plausible_i")),
               *unconfirmed = find(settings, "on_unconfirmed");
#define READ(name) if (isnan(set.name = number(find(settings, #name)))) return #name;
#define READ_OR_NONE(name) if (!find(settings, #name)) return #name; set.name = number(find(settings, #name));
    REQUIRED(READ) MAY_BE_NONE(READ_OR_NONE)
    if (!next(v) || !next(i) || !sag || !unconfirmed) return "on_sag, on_unconfirmed or a plausible range";
    if (isnan(set.sag_v)) set.sag_v = set.entry_v;
    set.lowest_v = number(v), set.highest_v = number(next(v));
    set.lowest_a = number(i), set.highest_a = number(next(i));
    set.sag_pauses = is(sag, "pause"), set.sag_restarts = is(sag, "restart");
    set.unconfirmed_waits = is(unconfirmed, "wait"), set.unconfirmed_to_bulk = is(unconfirmed, "bulk");
    power_up(number(find(message, "soc")));
    return now.soc >= 0 && now.soc <= 1 ? NULL : "soc";
}

static void run(const char *message) {
    const char *columns = element(find(message, "columns")), *row = element(find(message, "rows"));
    printf("\"columns\":[\"stage\",\"soc\",\"full_reset\",\"voltage_request_v\",\"current_request_a\"],");
    printf("\"rows\":[");
    for (const char *comma = ""; row; row = next(row), comma = ",") {
        for (int k = 0; k < 6; k++) in.at[k] = NAN;
        for (const char *name = columns, *p = element(row); name && p; name = next(name), p = next(p))
            for (int k = 0; k < 6; k++) if (is(name, READINGS[k])) in.at[k] = number(p);
        if (isnan(in.temp_max_c)) in.temp_max_c = in.temp_c;
        step();
        printf("%s[\"%s\",%.17g,%s,%.17g,%.17g]", comma, STAGE_NAMES[now.stage], now.soc,
               now.full_reset ? "true" : "false", asked_v(),
               now.stage == INHIBITED ? 0 : set.charge_current_a);
    }
    fputs("]", stdout);
}

int main(void) {
    char *line = NULL;
    size_t size = 0;
    bool started = false;
    while (getline(&line, &size, stdin) > 0) {
        const char *message = skip(line) ? line + strspn(line, " \t") : NULL, *missing = NULL;
        const char *word = find(message, "do");
        if (is(word, "stop")) break;
        if (is(word, "start")) started = !(missing = start(message));
        if (is(word, "power_cycle")) power_up(now.soc);
        if (is(word, "equalise")) now.requested = true;
        printf("{\"seq\":%.0f,", fmax(number(find(message, "seq")), -1));
        if (is(word, "hello")) fputs(HELLO, stdout);
        else if (missing) printf("\"error\":\"missing or not a number: %s\"", missing);
        else if (started && is(word, "run")) run(message);
        else if (started && (is(word, "start") || is(word, "power_cycle") || is(word, "equalise")))
            fputs("\"ok\":true", stdout);
        else fputs("\"error\":\"not understood, or not started\"", stdout);
        puts("}");
        fflush(stdout);
    }
    free(line);
    return 0;
}
