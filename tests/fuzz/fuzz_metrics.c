#include "tests/fuzz/payload.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t n)
{
	struct stream streams[] = {
		{ .name = "bare", .sensor = "a", .humidity = "rh", .temperature = "t" },
		{ .name = "label",
			.sensor = "b",
			.humidity = "rh{room=\"a\\\"b\"}",
			.battery = "charge{room=\"x\",id=\"1\"}",
			.humidity_unit = STREAM_FRACTION },
	};
	payload_check(streams, 2, FORMAT_METRICS, bytes, n);
	return 0;
}
