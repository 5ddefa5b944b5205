/* The example controller as an FMU for co-simulation: FMI 2.0, or 3.0 with -DFMI3.
 *
 * A step reads the inputs as they were set before it and answers at its end. The stamp is an input
 * where TOLD_STAMP is defined; otherwise the FMU has only the time of its steps. */
#define main example_program
#include "controller.c"
#undef main

#ifdef FMI3
#include "fmi3Functions.h"
typedef fmi3ValueReference reference;
#define OK fmi3OK
#define ERROR fmi3Error
#define STATUS fmi3Status
#define INSTANCE fmi3Instance
#else
#include "fmi2Functions.h"
typedef fmi2ValueReference reference;
#define OK fmi2OK
#define ERROR fmi2Error
#define STATUS fmi2Status
#define INSTANCE fmi2Component
#endif

/* References: inputs from 0, outputs from 10, settings from 20 on in the order of VARIABLES. */
enum { T, V, I, CELL, COLD, HOT };
enum { STAGE = 10, SOC, RESET, VOLTS, AMPS };
enum { START_SOC = 20, CELLS, ON_SAG, ON_UNCONFIRMED, NUMBERS };

static double *numbers[] = {
#define ADDRESS(name) &set.name,
    REQUIRED(ADDRESS) MAY_BE_NONE(ADDRESS)
    &set.lowest_v, &set.highest_v, &set.lowest_a, &set.highest_a,
};
#define COUNT (sizeof numbers / sizeof *numbers)
static double inputs[6], outputs[15], start_soc, clock_s;

static void begin(void) {
#ifdef FIXED
    set = (__typeof__(set))FIXED;
#endif
    if (isnan(set.sag_v)) set.sag_v = set.entry_v;
    power_up(start_soc);
    clock_s = 0;
}

static STATUS write_number(reference r, double value) {
    if (r <= HOT) inputs[r] = value;
    else if (r == START_SOC) start_soc = value;
    else if (r == ON_SAG) set.sag_pauses = value == 1, set.sag_restarts = value == 2;
    else if (r == ON_UNCONFIRMED)
        set.unconfirmed_to_bulk = value == 1, set.unconfirmed_waits = value == 2;
    else if (r >= NUMBERS && r < NUMBERS + COUNT) *numbers[r - NUMBERS] = value;
    else if (r != CELLS) return ERROR;
    return OK;
}

static STATUS read_number(reference r, double *value) {
    if (r < STAGE || r > AMPS) return ERROR;
    *value = outputs[r];
    return OK;
}

static STATUS advance(double length_s) {
    if (!(length_s > 0)) return ERROR;
    clock_s += length_s;
#ifdef TOLD_STAMP
    in.t = inputs[T];
#else
    in.t = clock_s;
#endif
    in.v = inputs[V], in.i = inputs[I], in.cell_max_v = inputs[CELL], in.temp_c = inputs[COLD];
    in.temp_max_c = isnan(inputs[HOT]) ? inputs[COLD] : inputs[HOT];
#ifdef PLANTED_CRASH
    if (now.stage == ABSORPTION) *(volatile int *)0 = 1;
#endif
#ifdef PLANTED_ERROR
    if (now.stage == ABSORPTION) return ERROR;
#endif
    step();
    bool charging = now.stage == BULK || now.stage == ABSORPTION;
    outputs[STAGE] = now.stage, outputs[SOC] = now.soc, outputs[RESET] = now.full_reset;
    outputs[VOLTS] = shifted(charging ? set.absorption_v : set.float_v);
    outputs[AMPS] = now.stage == INHIBITED ? 0 : set.charge_current_a;
    return OK;
}

/* Writes and reads of every type are the same but for the type. */
#define WRITES(name, type) (INSTANCE c, const reference r[], size_t n, const type values[] MORE) { \
    (void)c; for (size_t k = 0; k < n; k++) if (write_number(r[k], (double)values[k]) != OK) return ERROR; \
    return OK; }
#define READS(name, type) (INSTANCE c, const reference r[], size_t n, type values[] MORE) { \
    (void)c; for (size_t k = 0; k < n; k++) { double value; \
        if (read_number(r[k], &value) != OK) return ERROR; values[k] = (type)value; } \
    return OK; }

/* The standard asks for these as well, and nobody here calls them. */
STATUS unused(void) { return ERROR; }
#define UNUSED(name) __asm__(".globl " name "\n.set " name ", unused");

#ifdef FMI3
#define MORE , size_t m
UNUSED("fmi3ActivateModelPartition") UNUSED("fmi3CompletedIntegratorStep")
UNUSED("fmi3DeserializeFMUState") UNUSED("fmi3EnterConfigurationMode")
UNUSED("fmi3EnterContinuousTimeMode") UNUSED("fmi3EnterEventMode") UNUSED("fmi3EnterStepMode")
UNUSED("fmi3EvaluateDiscreteStates") UNUSED("fmi3ExitConfigurationMode") UNUSED("fmi3FreeFMUState")
UNUSED("fmi3GetAdjointDerivative") UNUSED("fmi3GetBinary") UNUSED("fmi3GetClock")
UNUSED("fmi3GetContinuousStateDerivatives") UNUSED("fmi3GetContinuousStates")
UNUSED("fmi3GetDirectionalDerivative") UNUSED("fmi3GetEventIndicators") UNUSED("fmi3GetFMUState")
UNUSED("fmi3GetFloat32") UNUSED("fmi3GetInt16") UNUSED("fmi3GetInt8") UNUSED("fmi3GetIntervalDecimal")
UNUSED("fmi3GetIntervalFraction") UNUSED("fmi3GetNominalsOfContinuousStates")
UNUSED("fmi3GetNumberOfContinuousStates") UNUSED("fmi3GetNumberOfEventIndicators")
UNUSED("fmi3GetNumberOfVariableDependencies") UNUSED("fmi3GetOutputDerivatives")
UNUSED("fmi3GetShiftDecimal") UNUSED("fmi3GetShiftFraction") UNUSED("fmi3GetString")
UNUSED("fmi3GetUInt16") UNUSED("fmi3GetUInt32") UNUSED("fmi3GetUInt64") UNUSED("fmi3GetUInt8")
UNUSED("fmi3GetVariableDependencies") UNUSED("fmi3InstantiateModelExchange")
UNUSED("fmi3InstantiateScheduledExecution") UNUSED("fmi3Reset") UNUSED("fmi3SerializeFMUState")
UNUSED("fmi3SerializedFMUStateSize") UNUSED("fmi3SetBinary") UNUSED("fmi3SetClock")
UNUSED("fmi3SetContinuousStates") UNUSED("fmi3SetDebugLogging") UNUSED("fmi3SetFMUState")
UNUSED("fmi3SetFloat32") UNUSED("fmi3SetInt16") UNUSED("fmi3SetInt8") UNUSED("fmi3SetIntervalDecimal")
UNUSED("fmi3SetIntervalFraction") UNUSED("fmi3SetShiftDecimal") UNUSED("fmi3SetShiftFraction")
UNUSED("fmi3SetString") UNUSED("fmi3SetTime") UNUSED("fmi3SetUInt16") UNUSED("fmi3SetUInt32")
UNUSED("fmi3SetUInt64") UNUSED("fmi3SetUInt8") UNUSED("fmi3UpdateDiscreteStates")
STATUS fmi3SetFloat64 WRITES(Float64, fmi3Float64)
STATUS fmi3SetInt32 WRITES(Int32, fmi3Int32)
STATUS fmi3SetInt64 WRITES(Int64, fmi3Int64)
STATUS fmi3SetBoolean WRITES(Boolean, fmi3Boolean)
STATUS fmi3GetFloat64 READS(Float64, fmi3Float64)
STATUS fmi3GetInt32 READS(Int32, fmi3Int32)
STATUS fmi3GetInt64 READS(Int64, fmi3Int64)
STATUS fmi3GetBoolean READS(Boolean, fmi3Boolean)

const char *fmi3GetVersion(void) { return "3.0"; }

INSTANCE fmi3InstantiateCoSimulation(fmi3String name, fmi3String token, fmi3String path, fmi3Boolean visible,
    fmi3Boolean logging, fmi3Boolean events, fmi3Boolean early, const fmi3ValueReference needed[], size_t n,
    fmi3InstanceEnvironment environment, fmi3LogMessageCallback log, fmi3IntermediateUpdateCallback update) {
    (void)name, (void)token, (void)path, (void)visible, (void)logging, (void)events, (void)early;
    (void)needed, (void)n, (void)environment, (void)log, (void)update;
    return &set;
}
void fmi3FreeInstance(INSTANCE c) { (void)c; }
STATUS fmi3EnterInitializationMode(INSTANCE c, fmi3Boolean has, fmi3Float64 tolerance, fmi3Float64 start,
    fmi3Boolean ends, fmi3Float64 stop) {
    (void)c, (void)has, (void)tolerance, (void)start, (void)ends, (void)stop;
    return OK;
}
STATUS fmi3ExitInitializationMode(INSTANCE c) { (void)c; begin(); return OK; }
STATUS fmi3Terminate(INSTANCE c) { (void)c; return OK; }
STATUS fmi3DoStep(INSTANCE c, fmi3Float64 at, fmi3Float64 length, fmi3Boolean no_way_back, fmi3Boolean *event,
    fmi3Boolean *ended, fmi3Boolean *early, fmi3Float64 *last) {
    (void)c, (void)no_way_back;
    *event = *ended = *early = false;
    *last = at + length;
    return advance(length);
}
#else
#define MORE
STATUS fmi2SetReal WRITES(Real, fmi2Real)
STATUS fmi2SetInteger WRITES(Integer, fmi2Integer)
STATUS fmi2SetBoolean WRITES(Boolean, fmi2Boolean)
STATUS fmi2GetReal READS(Real, fmi2Real)
STATUS fmi2GetInteger READS(Integer, fmi2Integer)
STATUS fmi2GetBoolean READS(Boolean, fmi2Boolean)

const char *fmi2GetTypesPlatform(void) { return "default"; }
const char *fmi2GetVersion(void) { return "2.0"; }

INSTANCE fmi2Instantiate(fmi2String name, fmi2Type type, fmi2String guid, fmi2String path,
    const fmi2CallbackFunctions *functions, fmi2Boolean visible, fmi2Boolean logging) {
    (void)name, (void)type, (void)guid, (void)path, (void)functions, (void)visible, (void)logging;
    printf("an FMU may print what it likes\n");
    return &set;
}
void fmi2FreeInstance(INSTANCE c) { (void)c; }
STATUS fmi2SetupExperiment(INSTANCE c, fmi2Boolean has, fmi2Real tolerance, fmi2Real start, fmi2Boolean ends,
    fmi2Real stop) {
    (void)c, (void)has, (void)tolerance, (void)start, (void)ends, (void)stop;
    return OK;
}
STATUS fmi2EnterInitializationMode(INSTANCE c) { (void)c; return OK; }
STATUS fmi2ExitInitializationMode(INSTANCE c) { (void)c; begin(); return OK; }
STATUS fmi2Terminate(INSTANCE c) { (void)c; return OK; }
STATUS fmi2CancelStep(INSTANCE c) { (void)c; return ERROR; }
UNUSED("fmi2SetDebugLogging") UNUSED("fmi2Reset") UNUSED("fmi2GetString") UNUSED("fmi2SetString")
UNUSED("fmi2GetFMUstate") UNUSED("fmi2SetFMUstate") UNUSED("fmi2FreeFMUstate")
UNUSED("fmi2SerializedFMUstateSize") UNUSED("fmi2SerializeFMUstate") UNUSED("fmi2DeSerializeFMUstate")
UNUSED("fmi2GetDirectionalDerivative") UNUSED("fmi2SetRealInputDerivatives")
UNUSED("fmi2GetRealOutputDerivatives") UNUSED("fmi2GetStatus") UNUSED("fmi2GetRealStatus")
UNUSED("fmi2GetIntegerStatus") UNUSED("fmi2GetBooleanStatus") UNUSED("fmi2GetStringStatus")
STATUS fmi2DoStep(INSTANCE c, fmi2Real at, fmi2Real length, fmi2Boolean no_way_back) {
    (void)c, (void)at, (void)no_way_back;
    return advance(length);
}
#endif
