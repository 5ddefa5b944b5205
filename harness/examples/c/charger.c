/* An example charger that listens to the controllers of its packs and speaks the line protocol: one JSON
 * object a line comes in on standard input, one goes out on standard output. It follows every rule for
 * chargers of the project and needs only the C library. It is made to be read and to be tried on a test
 * bench, not to charge a battery.
 * `charger_init`, `charger_step` and `charger_power_cycle` are the charger: no input, no output, no memory
 * from the heap. What follows them is the protocol around it.
 * One step: (1) validity and continuity, (2) messages and readings, (3) the state, (4) compensation, by what
 * was in force over the interval, (5) base and limit, (6) the outputs.
 * Ages are kept, not stamps: so a clock that is set back makes no message younger. What is absent is NAN.
 * Every comparison with NAN is false, so each one below is written in the direction in which false is what
 * the rules ask for. */
#define _POSIX_C_SOURCE 200809L
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MOST_PACKS 16
#define SLACK_S 1e-9 /* times that are meant to be equal differ in their last digits */
#define AT_LIMIT_SHARE 0.02 /* a current this near to its limit, or this many A, is bounded by it */
#define AT_LIMIT_A 0.1

/* This list both makes the structure and reads it, so that no name can be forgotten in either. */
#define NUMBERS(X) X(highest_v) X(highest_a) X(stale_s) X(silent_s) X(steady_s) X(fallback_v) X(fallback_a) \
    X(compensation_v) X(compensation_v_per_s) X(sense_time_s) X(regulation_v) X(raise_v_per_s) \
    X(raise_a_per_s) X(frozen_s) X(max_gap_s) X(plausible_a)
#define FIELD(name) double name;

typedef struct { int packs; NUMBERS(FIELD) double lowest_plausible_v, highest_plausible_v; } ChargerSettings;
typedef struct { double request_v, request_a, pack_v, pack_a, age_s; } Message;
typedef struct { double t, own_v, own_a; Message said[MOST_PACKS]; } ChargerSample;
typedef enum { STOPPED, FALLBACK, FOLLOWING } State;
typedef struct { double set_point_v, limit_a; State state; } ChargerOutput;

typedef struct { /* what is remembered of one pack */
    double request_v, request_a, age_s; /* in force: of the last good message; INFINITY before there was one */
    double pack_v, pack_a, unchanged_s; /* the last believable reading, and how long it has been the same */
    bool reads;                         /* its reading at this sample is good */
} Pack;

typedef struct {
    ChargerSettings set;
    State state;
    double last_t;       /* of the last valid sample; NAN before the first */
    double steady_for_s; /* how long all packs have been fresh; NAN while one is not */
    double base_v, limit_a, compensation_v;
    Pack packs[MOST_PACKS];
} Charger;

static void charger_power_cycle(Charger *me) {
    me->state = STOPPED;
    me->last_t = me->steady_for_s = NAN;
    me->base_v = me->set.fallback_v;
    me->limit_a = me->compensation_v = 0;
    for (int p = 0; p < me->set.packs; p++)
        me->packs[p] = (Pack){.request_v = INFINITY, .request_a = INFINITY, .age_s = INFINITY,
                              .pack_v = NAN, .pack_a = NAN};
}

static void charger_init(Charger *me, const ChargerSettings *settings) {
    me->set = *settings;
    charger_power_cycle(me);
}

static bool plausible_v(const ChargerSettings *set, double v) {
    return v >= set->lowest_plausible_v && v <= set->highest_plausible_v;
}

static bool plausible_a(const ChargerSettings *set, double a) { return fabs(a) <= set->plausible_a; }

/* A message that is not good does exactly what silence does: its pack ages on. */
static void hear(const ChargerSettings *set, Pack *pack, const Message *said, double passed_s) {
    pack->age_s += passed_s;
    pack->unchanged_s += passed_s;
    pack->reads = false;
    bool asks = plausible_v(set, said->request_v) && said->request_a >= 0 && plausible_a(set, said->request_a);
    if (!asks || !(said->age_s >= 0 && said->age_s <= set->stale_s + SLACK_S)) return;
    pack->request_v = said->request_v;
    pack->request_a = said->request_a;
    pack->age_s = fmin(pack->age_s, said->age_s);
    if (!plausible_v(set, said->pack_v)) return;
    double pack_a = plausible_a(set, said->pack_a) ? said->pack_a : pack->pack_a;
    bool other_a = pack_a != pack->pack_a && !isnan(pack_a); /* one that is absent is no sign of life */
    if (said->pack_v != pack->pack_v || other_a) pack->unchanged_s = 0;
    pack->pack_v = said->pack_v;
    pack->pack_a = pack_a;
    pack->reads = pack->unchanged_s < set->frozen_s - SLACK_S;
}

static State next_state(const Charger *me, double oldest_s, bool joined) {
    const ChargerSettings *set = &me->set;
    bool silent = oldest_s > set->silent_s + SLACK_S, fresh = oldest_s <= set->stale_s + SLACK_S;
    bool steady = me->steady_for_s >= set->steady_s - SLACK_S;
    if (me->state == FOLLOWING) return silent ? STOPPED : fresh && joined ? FOLLOWING : FALLBACK;
    if (me->state == FALLBACK && silent) return STOPPED;
    return steady ? FOLLOWING : me->state;
}

static double set_point_v(const Charger *me) {
    return fmin(me->base_v + me->compensation_v, me->set.highest_v);
}

/* What the line and the meters cost is made good slowly, and only while the readings say something about it. */
static void compensate(Charger *me, const ChargerSample *in, double dt) {
    const ChargerSettings *set = &me->set;
    double read_v = -INFINITY, above_v = in->own_v - set_point_v(me);
    for (int p = 0; p < set->packs; p++) {
        if (!me->packs[p].reads) return;
        read_v = fmax(read_v, me->packs[p].pack_v);
    }
    if (!(me->limit_a > 0) || !plausible_v(set, in->own_v) || !plausible_a(set, in->own_a)) return;
    if (above_v > set->regulation_v) return; /* something else holds the bus up */
    double lacking_v = me->base_v - read_v, most_v = set->compensation_v_per_s * dt;
    double free_a = me->limit_a - fmax(AT_LIMIT_SHARE * me->limit_a, AT_LIMIT_A);
    if (lacking_v > 0 && (above_v < -set->regulation_v || in->own_a >= free_a)) return;
    double moved_v = fmin(fmax(lacking_v * dt / set->sense_time_s, -most_v), most_v);
    me->compensation_v = fmin(fmax(me->compensation_v + moved_v, -set->compensation_v), set->compensation_v);
}

static ChargerOutput charger_step(Charger *me, const ChargerSample *in) {
    const ChargerSettings *set = &me->set;
    if (!isfinite(in->t)) return (ChargerOutput){set_point_v(me), me->limit_a, me->state};
    double dt = in->t - me->last_t, passed_s = dt > 0 ? dt : 0;
    bool joined = dt >= -SLACK_S && dt <= set->max_gap_s + SLACK_S;
    me->last_t = in->t;

    double oldest_s = 0, asked_v = INFINITY, asked_a = 0;
    bool none = false;
    for (int p = 0; p < set->packs; p++) {
        Pack *pack = &me->packs[p];
        hear(set, pack, &in->said[p], passed_s);
        oldest_s = fmax(oldest_s, pack->age_s);
        asked_v = fmin(asked_v, pack->request_v);
        asked_a += pack->request_a;
        none = none || pack->request_a == 0; /* the charger cannot single out one pack of a bank */
    }
    if (none) asked_a = 0;
    bool fresh = oldest_s <= set->stale_s + SLACK_S, goes_on = joined && !isnan(me->steady_for_s);
    me->steady_for_s = !fresh ? NAN : goes_on ? me->steady_for_s + passed_s : 0;

    State before = me->state;
    me->state = next_state(me, oldest_s, joined);
    if (!joined) passed_s = 0; /* nothing rises or is integrated over an interval that nobody saw */
    if (before == FOLLOWING && me->state == FOLLOWING) compensate(me, in, passed_s);
    double aim_v = fmin(asked_v, set->highest_v), aim_a = fmin(asked_a, set->highest_a);
    if (me->state != FOLLOWING) {
        aim_v = fmin(asked_v, fmin(set->fallback_v, me->base_v));
        aim_a = me->state == STOPPED ? 0 : fmin(asked_a, fmin(set->fallback_a, me->limit_a));
        me->compensation_v = fmin(me->compensation_v, 0);
    }
    me->base_v = fmin(aim_v, me->base_v + set->raise_v_per_s * passed_s);
    me->limit_a = fmin(aim_a, me->limit_a + set->raise_a_per_s * passed_s);
    me->compensation_v = fmin(me->compensation_v, set->highest_v - me->base_v); /* nothing is stored up */
    return (ChargerOutput){set_point_v(me), me->limit_a, me->state};
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

static Charger charger; /* one program serves one charger */
static const char *const STATE_NAMES[] = {"stopped", "fallback", "following"};
static const char HELLO[] = "\"protocol\":1,\"role\":\"charger\",\"name\":\"example-charger-c\","
    "\"version\":\"1.0\",\"language\":\"C\"";

static const char *start(const char *message) { /* what is wrong, or NULL */
    ChargerSettings set;
    const char *settings = find(message, "settings"), *range = element(find(settings, "plausible_v"));
#define READ(name) if (isnan(set.name = number(find(settings, #name)))) return #name " is missing";
    NUMBERS(READ)
    if (!next(range)) return "plausible_v is missing";
    set.lowest_plausible_v = number(range), set.highest_plausible_v = number(next(range));
    double packs = number(find(settings, "packs"));
    if (!(packs >= 1 && packs <= MOST_PACKS)) return "packs must be 1 to 16";
    set.packs = (int)packs;
    charger_init(&charger, &set);
    return NULL;
}

static double *place(ChargerSample *in, const char *name) { /* where a column belongs; NULL for no number */
    if (is(name, "t")) return &in->t;
    if (is(name, "own_v")) return &in->own_v;
    if (is(name, "own_a")) return &in->own_a;
    for (int p = 0; p < charger.set.packs; p++) {
        Message *said = &in->said[p];
        double *const at[] = {&said->request_v, &said->request_a, &said->pack_v, &said->pack_a, &said->age_s};
        const char *const names[] = {"request_v", "request_a", "pack_v", "pack_a", "age_s"};
        char full[32];
        for (int k = 0; k < 5; k++) {
            snprintf(full, sizeof full, "%s_%d", names[k], p + 1);
            if (is(name, full)) return at[k];
        }
    }
    return NULL;
}

static void run(const char *message) {
    const char *name = element(find(message, "columns")), *row = element(find(message, "rows"));
    ChargerSample in;
    double *places[3 + 6 * MOST_PACKS];
    int columns = 0, most = (int)(sizeof places / sizeof *places);
    for (; name && columns < most; name = next(name)) places[columns++] = place(&in, name);
    printf("\"columns\":[\"set_point_v\",\"limit_a\",\"state\"],\"rows\":[");
    for (const char *comma = ""; row; row = next(row), comma = ",") {
        const char *value = element(row);
        in.t = in.own_v = in.own_a = NAN;
        for (int p = 0; p < MOST_PACKS; p++) in.said[p] = (Message){NAN, NAN, NAN, NAN, NAN};
        for (int k = 0; value && k < columns; k++, value = next(value))
            if (places[k]) *places[k] = number(value);
        ChargerOutput out = charger_step(&charger, &in);
        printf("%s[%.17g,%.17g,\"%s\"]", comma, out.set_point_v, out.limit_a, STATE_NAMES[out.state]);
    }
    fputs("]", stdout);
}

int main(void) {
    char *line = NULL;
    size_t size = 0;
    bool started = false;
    while (getline(&line, &size, stdin) > 0) {
        const char *message = skip(line) ? line + strspn(line, " \t") : NULL, *wrong = NULL;
        const char *word = find(message, "do");
        if (is(word, "stop")) break;
        if (is(word, "start")) started = !(wrong = start(message));
        if (started && is(word, "power_cycle")) charger_power_cycle(&charger);
        printf("{\"seq\":%.0f,", fmax(number(find(message, "seq")), -1));
        if (is(word, "hello")) fputs(HELLO, stdout);
        else if (wrong) printf("\"error\":\"%s\"", wrong);
        else if (started && is(word, "run")) run(message);
        else if (started && (is(word, "start") || is(word, "power_cycle"))) fputs("\"ok\":true", stdout);
        else fputs("\"error\":\"not understood, or not started\"", stdout);
        puts("}");
        fflush(stdout);
    }
    free(line);
    return 0;
}
