/* A libmodbus client loop: reads of 20 registers, one after the other, over the
 * given number of connections in turn. Prints requests a second. */
#include <modbus.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double now(void) {
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec + t.tv_nsec * 1e-9;
}

int main(int argc, char **argv) {
	if (argc != 4) {
		return 2;
	}
	int port = atoi(argv[1]), conns = atoi(argv[2]), n = atoi(argv[3]);
	modbus_t **ctx = calloc(conns, sizeof *ctx);
	uint16_t regs[20];
	for (int i = 0; i < conns; i++) {
		ctx[i] = modbus_new_tcp("127.0.0.1", port);
		if (modbus_connect(ctx[i]) < 0) {
			perror("connect");
			return 1;
		}
	}
	double start = now();
	for (int i = 0; i < n; i++) {
		if (modbus_read_registers(ctx[i % conns], 0, 20, regs) != 20 || regs[7] != 7) {
			perror("read");
			return 1;
		}
	}
	printf("%.1f\n", n / (now() - start));
	return 0;
}
