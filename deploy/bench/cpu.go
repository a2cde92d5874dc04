package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// processorTime is what a process and its children have used of the processors,
// as Linux counts it: to the nanosecond while they live, in ticks once they have
// ended and were waited for.
func processorTime(pid int) (time.Duration, error) {
	spent, err := ownTime(pid)
	if err != nil {
		return 0, err
	}
	ended, err := endedTime(pid)
	if err != nil {
		return 0, err
	}
	for _, child := range childrenOf(pid) {
		if own, err := ownTime(child); err == nil { // it may have ended just now
			spent += own
		}
	}
	return spent + ended, nil
}

// ownTime adds up the threads of a process (proc(5), /proc/pid/schedstat).
func ownTime(pid int) (time.Duration, error) {
	threads, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", pid))
	if err != nil || len(threads) == 0 {
		return 0, fmt.Errorf("there is no process %d, or this is no Linux with schedstat", pid)
	}
	var sum time.Duration
	for _, thread := range threads {
		text, err := os.ReadFile(thread)
		if err != nil {
			continue // the thread has ended
		}
		first, _, _ := strings.Cut(string(text), " ")
		ran, err := strconv.ParseInt(first, 10, 64)
		if err != nil {
			return 0, fmt.Errorf("%s: %w", thread, err)
		}
		sum += time.Duration(ran)
	}
	return sum, nil
}

// statFields are those of /proc/pid/stat from the third one on (proc(5)): the
// second is a name, which may hold anything.
func statFields(pid int) ([]string, error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return nil, err
	}
	return strings.Fields(string(text[bytes.LastIndexByte(text, ')')+1:])), nil
}

const ticksPerSecond = 100 // USER_HZ of Linux on all architectures that Go knows

// endedTime is what children that have ended used: fields 16 and 17.
func endedTime(pid int) (time.Duration, error) {
	fields, err := statFields(pid)
	if err != nil {
		return 0, err
	}
	var ticks int64
	for _, field := range fields[13:15] {
		n, err := strconv.ParseInt(field, 10, 64)
		if err != nil {
			return 0, err
		}
		ticks += n
	}
	return time.Duration(ticks) * time.Second / ticksPerSecond, nil
}

// childrenOf are the processes whose parent is pid: field 4.
func childrenOf(pid int) (children []int) {
	stats, err := filepath.Glob("/proc/[0-9]*/stat")
	if err != nil {
		return nil
	}
	for _, path := range stats {
		child, err := strconv.Atoi(strings.Split(path, "/")[2])
		if err != nil {
			continue
		}
		if fields, err := statFields(child); err == nil && fields[1] == strconv.Itoa(pid) {
			children = append(children, child)
		}
	}
	return children
}
